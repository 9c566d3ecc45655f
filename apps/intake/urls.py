from django.urls import path, register_converter

from apps.intake.views import announcing, cutting, desk, photos, printing, samples, ways


class CodeConverter:
    """Numbers and codes: letters, digits and hyphens. Anything else is no address here."""

    regex = "[0-9A-Za-z-]{1,16}"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(CodeConverter, "intake_code")

app_name = "intake"

urlpatterns = [
    # receiving/
    path("receiving/", desk.receiving, name="receiving"),
    path("receiving/new/", desk.receive, name="receive"),
    # my/
    path("my/announce/", announcing.announce, name="announce"),
    path("my/announced/<int:announcement_id>/withdraw/", announcing.withdraw, name="withdraw_announcement"),
    # jobs/
    path("jobs/<intake_code:number>/acknowledgement/", desk.acknowledgement, name="acknowledgement"),
    path("jobs/<intake_code:number>/correct/", desk.correct_job, name="correct_job"),
    path("jobs/<intake_code:number>/add-sample/", desk.add_sample, name="add_sample"),
    path("jobs/<intake_code:number>/labels/", printing.labels, name="labels"),
    path("jobs/<intake_code:number>/labels.pdf", printing.labels_pdf, name="labels_pdf"),
    # samples/
    path("samples/<intake_code:code>/", samples.sample, name="sample"),
    path("samples/<intake_code:code>/correct/", samples.correct_sample, name="correct_sample"),
    path("samples/<intake_code:code>/move/", samples.move_sample, name="move_sample"),
    path("samples/<intake_code:code>/deviate/", samples.deviate, name="deviate"),
    path("samples/<intake_code:code>/set-aside/", samples.set_aside, name="set_aside"),
    path("samples/<intake_code:code>/cutting-plan/", cutting.plan, name="cutting_plan"),
    path("samples/<intake_code:code>/cutting-plan.pdf", cutting.plan_pdf, name="cutting_plan_pdf"),
    path("samples/<intake_code:code>/cutting-plan/size/", cutting.size, name="size"),
    path("samples/<intake_code:code>/photos/", photos.photos, name="photos"),
    path("samples/<intake_code:code>/photos/<slug:sha256>.jpg", photos.photo, name="photo"),
    path("samples/<intake_code:code>/requests/<int:ordinal>/photos/", photos.choose, name="choose_photos"),
    path("samples/<intake_code:code>/add-request/", ways.add_request, name="add_request"),
    path("samples/<intake_code:code>/requests/<int:ordinal>/change/", ways.change_request, name="change_request"),
    path("samples/<intake_code:code>/requests/<int:ordinal>/review/", ways.review_request, name="review_request"),
    # send-backs/
    path("send-backs/<int:send_back_id>/answer/", samples.answer, name="answer"),
]

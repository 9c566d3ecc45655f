from django.urls import path

from apps.reporting.views import (
    amending,
    approvals,
    course,
    letterhead,
    nonconforming,
    reports,
    signatories,
    verifying,
)

app_name = "reporting"

urlpatterns = [
    # approvals/
    path("approvals/", approvals.approvals, name="approvals"),
    path("approvals/files/", approvals.files, name="files"),
    path("approvals/<slug:number>/", approvals.review, name="review"),
    path("approvals/<slug:number>/approve/", approvals.approve, name="approve"),
    path("approvals/<slug:number>/judge/<int:deviation_id>/", approvals.judge, name="judge"),
    path("approvals/<slug:number>/send-back/<int:request_id>/", approvals.send_back, name="send_back"),
    # reports/
    path("reports/<slug:number>.pdf", reports.pdf, name="pdf"),
    path("reports/<slug:number>.csv", reports.csv, name="csv"),
    path("reports/<slug:number>.xlsx", reports.xlsx, name="xlsx"),
    path("reports/<slug:number>.json", reports.json, name="json"),
    path("reports/<slug:number>/", reports.report, name="report"),
    path("reports/<slug:number>/photos/<slug:sha256>.jpg", reports.photo, name="photo"),
    path("reports/<slug:number>/amend/", amending.amend, name="amend"),
    path("reports/<slug:number>/close-amendment/", amending.close, name="close_amendment"),
    path("reports/<slug:number>/withdraw/", amending.withdraw, name="withdraw"),
    # requests/
    path("requests/<int:request_id>/", course.course, name="course"),
    path("requests/<int:request_id>/cycles/", course.cycles, name="cycles"),
    path("requests/<int:request_id>/retest/", course.retest, name="retest"),
    path("requests/<int:request_id>/cancel/", course.cancel, name="cancel"),
    path("requests/<int:request_id>/external/", course.external, name="external"),
    path("requests/<int:request_id>/external/<int:result_id>/void/", course.void_external, name="void_external"),
    # nonconforming/
    path("nonconforming/", nonconforming.records, name="nonconforming"),
    path("nonconforming/new/", nonconforming.new, name="nonconformity_new"),
    path("nonconforming/<int:record_id>/", nonconforming.record, name="nonconformity"),
    # lab/
    path("lab/logo/", letterhead.logo, name="logo"),
    path("lab/logo.png", letterhead.picture, name="logo_picture"),
    # verify/
    path("verify/", verifying.verify, name="verify"),
    # signatories/
    path("signatories/", signatories.signatories, name="signatories"),
    path("signatories/<int:method_id>/grant/", signatories.grant, name="grant"),
    path("signatories/ended/<int:signatory_id>/", signatories.end, name="end"),
]

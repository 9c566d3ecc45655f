from django.urls import path

from apps.reporting import views

app_name = "reporting"

urlpatterns = [
    # approvals/
    path("approvals/", views.approvals, name="approvals"),
    path("approvals/<slug:number>/", views.review, name="review"),
    path("approvals/<slug:number>/approve/", views.approve, name="approve"),
    path("approvals/<slug:number>/judge/<int:deviation_id>/", views.judge, name="judge"),
    path("approvals/<slug:number>/send-back/<int:request_id>/", views.send_back, name="send_back"),
    # reports/
    path("reports/<slug:number>.pdf", views.pdf, name="pdf"),
    path("reports/<slug:number>.csv", views.csv, name="csv"),
    path("reports/<slug:number>/", views.report, name="report"),
]

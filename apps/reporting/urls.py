from django.urls import path

from apps.reporting import views

app_name = "reporting"

urlpatterns = [
    # approvals/
    path("approvals/", views.approvals, name="approvals"),
    path("approvals/<str:number>/", views.review, name="review"),
    path("approvals/<str:number>/approve/", views.approve, name="approve"),
    path("approvals/<str:number>/judge/<int:deviation_id>/", views.judge, name="judge"),
    path("approvals/<str:number>/send-back/<int:request_id>/", views.send_back, name="send_back"),
    # reports/
    path("reports/<str:number>.pdf", views.pdf, name="pdf"),
    path("reports/<str:number>.csv", views.csv, name="csv"),
    path("reports/<str:number>/", views.report, name="report"),
]

from django.urls import path

from measurements import report_views

urlpatterns = [
    path("instruments/<tag:tag>/report/", report_views.issue, name="report-issue"),
    path("reports/", report_views.reports, name="reports"),
    path("reports/<int:number>/", report_views.report, name="report"),
    path("reports/<int:number>/pdf/", report_views.report_pdf, name="report-pdf"),
]

from django.urls import path

from measurements import report_link_views, report_mail_views, report_views

urlpatterns = [
    path("instruments/<tag:tag>/report/", report_views.issue, name="report-issue"),
    path("reports/", report_views.reports, name="reports"),
    path("reports/<int:number>/", report_views.report, name="report"),
    path("reports/<int:number>/pdf/", report_views.report_pdf, name="report-pdf"),
    path("reports/<int:number>/revise/", report_views.revise_report, name="report-revise"),
    path("reports/<int:number>/mail/", report_mail_views.mail_report, name="report-mail"),
    path("reports/<int:number>/links/", report_link_views.report_links, name="report-links"),
    path(
        "reports/<int:number>/links/<int:link>/close/",
        report_link_views.close_report_link,
        name="report-link-close",
    ),
    path("reports/<int:number>/<int:revision>/", report_views.report, name="report-revision"),
    path(
        "reports/<int:number>/<int:revision>/pdf/",
        report_views.report_pdf,
        name="report-revision-pdf",
    ),
    path("r/<slug:token>/", report_link_views.customer_report, name="customer-report"),
    path("r/<slug:token>/pdf/", report_link_views.customer_pdf, name="customer-report-pdf"),
    path(
        "r/<slug:token>/photos/<int:number>/",
        report_link_views.customer_photo,
        name="customer-report-photo",
    ),
    path("r/<slug:token>/logo/", report_link_views.customer_logo, name="customer-report-logo"),
]

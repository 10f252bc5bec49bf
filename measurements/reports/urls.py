from django.urls import path

from measurements.reports import link_views, mail_views, views

urlpatterns = [
    path("instruments/<tag:tag>/report/", views.issue, name="report-issue"),
    path("reports/", views.reports, name="reports"),
    path("reports/<int:number>/", views.report, name="report"),
    path("reports/<int:number>/pdf/", views.report_pdf, name="report-pdf"),
    path("reports/<int:number>/revise/", views.revise_report, name="report-revise"),
    path("reports/<int:number>/mail/", mail_views.mail_report, name="report-mail"),
    path("reports/<int:number>/links/", link_views.report_links, name="report-links"),
    path(
        "reports/<int:number>/links/<int:link>/close/",
        link_views.close_report_link,
        name="report-link-close",
    ),
    path("reports/<int:number>/<int:revision>/", views.report, name="report-revision"),
    path(
        "reports/<int:number>/<int:revision>/pdf/",
        views.report_pdf,
        name="report-revision-pdf",
    ),
    path("r/<slug:token>/", link_views.customer_report, name="customer-report"),
    path("r/<slug:token>/pdf/", link_views.customer_pdf, name="customer-report-pdf"),
    path(
        "r/<slug:token>/photos/<int:number>/",
        link_views.customer_photo,
        name="customer-report-photo",
    ),
    path("r/<slug:token>/logo/", link_views.customer_logo, name="customer-report-logo"),
]

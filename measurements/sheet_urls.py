from django.urls import path

from measurements import sheet_views

urlpatterns = [
    path("joint-sheet/", sheet_views.new_joint_sheet, name="joint-sheet-new"),
    path("instruments/<tag:tag>/joint-sheet/", sheet_views.joint_sheet, name="joint-sheet"),
]

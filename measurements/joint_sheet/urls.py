from django.urls import path

from measurements.joint_sheet import views

urlpatterns = [
    path("joint-sheet/", views.new_joint_sheet, name="joint-sheet-new"),
    path("instruments/<tag:tag>/joint-sheet/", views.joint_sheet, name="joint-sheet"),
]

from django.urls import path

from measurements.photos import views

urlpatterns = [
    path("check-ins/<uuid:uuid>/photos/", views.photos, name="photos"),
    path("check-ins/<uuid:uuid>/photos/words/", views.describe, name="photos-describe"),
    path("check-ins/<uuid:uuid>/damage/", views.damage, name="damage-note"),
    path("photos/<uuid:uuid>/", views.photo, name="photo"),
    path("photos/<uuid:uuid>/void/", views.void_photo, name="photo-void"),
    path("damage/<uuid:uuid>/void/", views.void_damage, name="damage-void"),
]

from django.urls import path

from measurements import photo_views

urlpatterns = [
    path("check-ins/<uuid:uuid>/photos/", photo_views.photos, name="photos"),
    path("check-ins/<uuid:uuid>/photos/words/", photo_views.describe, name="photos-describe"),
    path("check-ins/<uuid:uuid>/damage/", photo_views.damage, name="damage-note"),
    path("photos/<uuid:uuid>/", photo_views.photo, name="photo"),
    path("photos/<uuid:uuid>/void/", photo_views.void_photo, name="photo-void"),
    path("damage/<uuid:uuid>/void/", photo_views.void_damage, name="damage-void"),
]

"""The addresses of the desk."""

from django.urls import URLPattern, URLResolver

app_name = "office"
urlpatterns: list[URLPattern | URLResolver] = []

"""The addresses of the dispatcher's board, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import board

paths: list[URLPattern | URLResolver] = [
    path("board/", door(board.page), name="board"),
    path("board/digest/", door(board.digest), name="board-digest"),
    path("board/map/", door(board.on_map), name="board-map"),
    path("board/give/", door(board.give), name="board-give"),
    path("board/take-back/", door(board.take_back), name="board-take-back"),
    path("board/views/", door(board.save_view), name="board-view-save"),
    path("board/views/<int:pk>/remove/", door(board.remove_view), name="board-view-remove"),
]

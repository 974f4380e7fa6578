"""The addresses of stock and buying, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import orders, stock, stock_moves, suppliers

paths: list[URLPattern | URLResolver] = [
    path("stock/", door(stock.listing), name="stock"),
    path("stock/open/", door(stock.open_store), name="stock-open"),
    path("stock/places/<int:pk>/", door(stock.place), name="stock-place"),
    path("stock/places/<int:pk>/close/", door(stock.close_store), name="stock-close"),
    path("stock/places/<int:pk>/count/", door(stock_moves.count), name="stock-sheet"),
    path("stock/places/<int:pk>/move/", door(stock_moves.move), name="stock-move"),
    path(
        "stock/places/<int:pk>/throw-away/",
        door(stock_moves.throw_away),
        name="stock-throw-away",
    ),
    path("stock/lots/", door(stock.lots), name="stock-lots"),
    path("stock/movements/", door(stock.movements), name="stock-movements"),
    path("stock/movements/<int:pk>/", door(stock.movement), name="stock-movement"),
    path("stock/movements/<int:pk>/take-back/", door(stock.correct), name="stock-correct"),
    path("stock/counts/<int:pk>/", door(stock.count), name="stock-count"),
    path("stock/waste/", door(stock.waste), name="waste"),
    path("stock/waste/export/", door(stock.export_waste), name="waste-export"),
    path("stock/export/<str:what>/", door(stock.export), name="stock-export"),
    path("stock/suppliers/", door(suppliers.listing), name="suppliers"),
    path("stock/suppliers/add/", door(suppliers.edit), name="supplier-add"),
    path("stock/suppliers/<int:pk>/", door(suppliers.page), name="supplier"),
    path("stock/suppliers/<int:pk>/change/", door(suppliers.edit), name="supplier-change"),
    path("stock/suppliers/<int:pk>/receive/", door(orders.receive_from), name="receive-from"),
    path("stock/suppliers/<int:pk>/items/add/", door(suppliers.add_item), name="item-add"),
    path("stock/items/<int:pk>/", door(suppliers.change_item), name="item-change"),
    path("stock/items/<int:pk>/remove/", door(suppliers.remove_item), name="item-remove"),
    path("stock/orders/", door(orders.listing), name="orders"),
    path("stock/orders/export/", door(orders.export), name="orders-export"),
    path("stock/orders/suggest/", door(orders.suggest), name="order-suggest"),
    path("stock/orders/<int:pk>/", door(orders.page), name="order"),
    path("stock/orders/<int:pk>/change/", door(orders.edit), name="order-change"),
    path("stock/orders/<int:pk>/place/", door(orders.place), name="order-place"),
    path("stock/orders/<int:pk>/cancel/", door(orders.cancel), name="order-cancel"),
    path("stock/orders/<int:pk>/receive/", door(orders.receive), name="receive"),
    path("stock/receipts/<int:pk>/", door(orders.receipt), name="receipt"),
    path("stock/receipts/<int:pk>/take-back/", door(orders.take_back), name="receipt-take-back"),
]

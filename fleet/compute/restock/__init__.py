"""What to bring to a column, a machine, a truck and a warehouse, and what to sell where.

Demand and stock are distributions: an array (N, U) holds for each of N columns the chance of 0, 1,
... U - 1 units (:mod:`~fleet.compute.restock.distributions`). From them

- :mod:`~fleet.compute.restock.stock`: what a column may hold now, or at a later moment,
- :mod:`~fleet.compute.restock.dry`: when it runs dry, and what is lost if nobody comes,
- :mod:`~fleet.compute.restock.fill`: up to what level it pays to fill it, and pars,
- :mod:`~fleet.compute.restock.dated`: which lots to pull before they are out of date,
- :mod:`~fleet.compute.restock.truck`: how much of a product to carry for several columns,
- :mod:`~fleet.compute.restock.policy`: how much to keep and to order in a warehouse,
- :mod:`~fleet.compute.restock.swap`: what would change if columns held something else.

Amounts of money are in minor units and may hold fractions: they are expectations to decide by,
which nobody books.
"""

"""Published instances whose best plans are known, solved by the planner as a day's runs.

E-n22-k4: Christofides & Eilon 1969, 21 customers, 4 vehicles of 6,000; the optimum is 375 with
distances rounded to whole numbers (CVRPLIB). p06-2-50: the capacitated profitable tour problem on
the 50 customers of Christofides, Mingozzi & Toth 1979, 2 vehicles of 50; instance of Bulhões, Ha,
Martinelli & Vidal 2018 (European Journal of Operational Research 270(3)); its best profit, 33.88,
is from memory. Figures as in the test data of PyVRP 0.14.1.
"""

import math

from service.compute.routing import (
    Capacity,
    Depot,
    Load,
    Matrix,
    Problem,
    Stop,
    Vehicle,
    plan,
    score,
)

# x, y, demand; the depot first.
E_N22_K4 = (
    (145, 215, 0),
    (151, 264, 1100),
    (159, 261, 700),
    (130, 254, 800),
    (128, 252, 1400),
    (163, 247, 2100),
    (146, 246, 400),
    (161, 242, 800),
    (142, 239, 100),
    (163, 236, 500),
    (148, 232, 600),
    (128, 231, 1200),
    (156, 217, 1300),
    (129, 214, 1300),
    (146, 208, 300),
    (164, 208, 900),
    (141, 206, 2100),
    (147, 193, 1000),
    (164, 193, 900),
    (129, 189, 2500),
    (155, 185, 1800),
    (139, 182, 700),
)

# x, y, demand, prize; the depot first.
P06_2_50 = (
    (30, 40, 0, 0),
    (37, 52, 7, 5),
    (49, 49, 30, 23),
    (52, 64, 16, 12),
    (20, 26, 9, 6),
    (40, 30, 21, 25),
    (21, 47, 15, 15),
    (17, 63, 19, 23),
    (31, 62, 23, 30),
    (52, 33, 11, 9),
    (51, 21, 5, 3),
    (42, 41, 19, 25),
    (31, 32, 29, 16),
    (5, 25, 23, 23),
    (12, 42, 21, 24),
    (36, 16, 10, 5),
    (52, 41, 15, 18),
    (27, 23, 3, 2),
    (17, 33, 41, 31),
    (13, 13, 9, 9),
    (57, 58, 28, 33),
    (62, 42, 8, 7),
    (42, 57, 8, 4),
    (16, 57, 16, 14),
    (8, 52, 10, 14),
    (7, 38, 28, 15),
    (27, 68, 7, 9),
    (30, 48, 15, 16),
    (43, 67, 14, 9),
    (58, 48, 6, 8),
    (58, 27, 19, 16),
    (37, 69, 11, 15),
    (38, 46, 12, 9),
    (46, 10, 23, 32),
    (61, 33, 26, 16),
    (62, 63, 17, 17),
    (63, 69, 6, 8),
    (32, 22, 9, 10),
    (45, 35, 15, 19),
    (59, 15, 14, 18),
    (5, 6, 7, 9),
    (10, 17, 27, 34),
    (21, 10, 13, 8),
    (5, 64, 11, 13),
    (30, 15, 16, 19),
    (39, 10, 10, 6),
    (32, 39, 5, 5),
    (25, 32, 25, 32),
    (25, 55, 17, 10),
    (48, 28, 18, 19),
    (56, 37, 10, 13),
)


def day(rows: tuple[tuple[int, ...], ...], metres: Matrix, vans: int, holds: int) -> Problem:
    """Demand as cases; a distance of 1 is a km that costs 1.00; time does not count."""
    return Problem(
        tuple(
            Stop(
                f"{at:02}",
                at,
                0,
                prize=1_000 * row[3] if len(row) > 3 else 0,
                must_go="" if len(row) > 3 else "every customer is served",
                load=Load(cases=row[2]),
            )
            for at, row in enumerate(rows)
            if at
        ),
        tuple(
            Vehicle(
                f"van {number}",
                "depot",
                "depot",
                starts_s=0,
                ends_s=86_400,
                shift_s=86_400,
                capacity=Capacity(cases=holds),
                cost_per_km=1_000,
            )
            for number in range(vans)
        ),
        (Depot("depot", 0),),
        metres,
        iterations=1_000,
    )


def straight(rows: tuple[tuple[int, ...], ...], digits: int) -> Matrix:
    """Straight distances, rounded to so many digits; no time."""
    metres = tuple(
        tuple(round(1_000 * round(math.hypot(a[0] - b[0], a[1] - b[1]), digits)) for b in rows)
        for a in rows
    )
    return Matrix(tuple((0,) * len(rows) for _ in rows), metres)


def test_every_customer_of_e_n22_k4() -> None:
    problem = day(E_N22_K4, straight(E_N22_K4, 0), 4, 6_000)
    judged = score(problem, plan(problem))
    assert judged.faults == ()
    assert judged.drive_m == 375 * 1_000


def test_the_profitable_customers_of_p06_2_50() -> None:
    problem = day(P06_2_50, straight(P06_2_50, 3), 2, 50)
    judged = score(problem, plan(problem))
    assert judged.faults == ()
    assert round(judged.gain / 1_000, 2) == 33.88

"""What is carried grows from stop to stop, each currency by itself, and heavy coins take more bags (O2)."""

from decimal import Decimal

from baizebook.trips.cash_carried import Carried, Picked, carried_along


def test_money_and_coins_add_up_along_the_way() -> None:
    found = carried_along(
        [
            Picked("USD", 10_000, Decimal("2268.0"), 2),  # 400 quarters of 5.670 g (US Mint)
            Picked("EUR", 5_000, Decimal(750), 1),  # 100 euros of 7.50 g (Regulation 975/98)
            Picked("USD", 0, Decimal(0), 0),
            Picked("USD", 2_500, Decimal("567.0"), 1),
        ]
    )
    assert found == [
        Carried({"USD": 10_000}, Decimal("2268.0"), 1),
        Carried({"EUR": 5_000, "USD": 10_000}, Decimal("3018.0"), 1),
        Carried({"EUR": 5_000, "USD": 10_000}, Decimal("3018.0"), 0),
        Carried({"EUR": 5_000, "USD": 12_500}, Decimal("3585.0"), 1),
    ]


def test_a_bag_takes_sixteen_kilograms() -> None:
    loads = [carried_along([Picked("USD", 1, Decimal(grams), 1)])[0].bags for grams in (0, 16_000, 16_001, 32_001)]
    assert loads == [1, 1, 2, 3]

"""Every segment of the audit standard and its elements, as data.

One string a segment: its elements by position from 01, parted by ``;``. An element is a name and
a form. Forms: ``AN20`` text, ``N4`` integer, ``DT`` date, ``TM`` time, ``ID`` fixed text,
``$8`` money, ``#6`` count; before money or count ``I`` (since initialisation, never reset) or
``R`` (since last reset). The number is the greatest number of digits or characters; where it is
left out, our source does not give it. ``-`` is a position without a meaning known to us.

Source: a transcription of the vending data transfer standard's segment tables (EVA DTS 6), with
the widths that it states.
"""

_DEVICE = "serial AN20; model AN20; software AN4; user AN12; asset AN20"
_CASHLESS_SALES = "sales I$8; sales I#8; sales R$8; sales R#6; user AN12"
_FROM_RESET_AMOUNT = "{0} R$; {0} I$"

CONTROL = {
    "DXS": "sender AN10; functional_code ID; version AN8; transmission AN8",
    "ST": "set ID; control AN9; read_time AN14",
    "G85": "check ID4",
    "SE": "segments N6; control AN9",
    "DXE": "transmission N9; sets N6",
    "LS": "loop ID",
    "LE": "loop ID",
}

IDENTIFICATION = {
    "ID1": "serial AN20; model AN20; build_standard AN4; location AN30; user AN12; asset AN20; "
    "standard_level AN2; standard_revision AN4",
    "ID2": "serial AN20; model AN20; software AN20; user AN12; asset AN20",
    "ID3": "route AN12; function AN20; person AN20; user AN12",
    "ID4": "decimals N1; numeric ID4; alphabetic AN3",
    "ID5": "date DT; time TM; seconds N2; daylight_saving ID",
    "ID6": "cash_bag AN20",
    "ID7": "index AN4; category N4; maker AN20; serial AN20; model AN20; software AN20; "
    "status AN20; user AN12",
    "AM1": _DEVICE,
    "CB1": "serial AN20; model AN20; software AN20; user AN12; asset AN20",
    "BA1": _DEVICE,
    "CA1": _DEVICE,
    "DA1": _DEVICE,
    "DB1": _DEVICE,
    "TA1": _DEVICE,
    "HA1": _DEVICE,
    "HB1": _DEVICE,
}

VENDS = {
    "VA1": "paid I$8; paid I#8; paid R$8; paid R#6; discounts I$8; discounts I#8; discounts R$8; "
    "discounts R#8; surcharges I#8; surcharges I$8; surcharges R#6; surcharges R$8",
    "VA2": "test I$8; test I#8; test R$6; test R#4; test_cash_to_box I$; test_cash_to_box R$",
    "VA3": "free I$8; free I#8; free R$8; free R#6",
}

CASH = {
    "CA2": "sales I$8; sales I#6; sales R$8; sales R#6",
    "CA3": "total R$8; to_box R$8; to_tubes R$8; bills_old R$8; total I$8; to_box I$8; "
    "to_tubes I$8; bills_old I$8; bills R$8; bills I$8; bills_to_recycler R$8; "
    "bills_to_recycler I$8",
    "CA4": "dispensed R$; by_hand R$; dispensed I$; by_hand I$; bills_dispensed R$; "
    "bills_by_hand R$; bills_recycler_to_box R$; bills_dispensed I$; bills_by_hand I$; "
    "bills_recycler_to_box I$",
    "CA5": "power_outages R#; power_outages I#",
    "CA6": "reads I#; door_openings I#",
    "CA7": "discounts R$; discounts I$; discounts R#; discounts I#; surcharges R$; "
    "surcharges I$; surcharges R#; surcharges I#",
    "CA8": _FROM_RESET_AMOUNT.format("overpay"),
    "CA9": _FROM_RESET_AMOUNT.format("sales_while_exact_change"),
    "CA10": "coins_filled R$; coins_filled I$; bills_filled R$; bills_filled I$",
    "CA11": "coin_value $; in R#; to_box R#; to_tubes R#; in I#; to_box I#; to_tubes I#; "
    "age AN4; country AN4",
    "CA12": "coin_value $; out R#; out_by_hand R#; out I#; out_by_hand I#; age AN4; country AN4",
    "CA13": "coin_value $; filled R#; filled I#",
    "CA14": "bill_value $; validated R#; stacked R#; validated I#; stacked I#",
    "CA15": "total_value $; block N1; count_1 N4; count_2 N4; count_3 N4; count_4 N4; "
    "count_5 N4; count_6 N4; count_7 N4; count_8 N4",
    "CA16": _FROM_RESET_AMOUNT.format("credited"),
    "CA17": "coin_type N2; coin_value $; count N4; filled_count N4; emptied_count N4; full N1",
    "CA18": "",
    "CA19": "",
    "CA20": "",
    "CA21": "",
    "CA22": "",
    "CA23": "bill_type N2; bill_value $; count N4; -; -; full N1",
    "CA24": "",
}

CASHLESS = {
    "DA2": _CASHLESS_SALES,
    "DA3": "debited I$; debited R$; user AN12",
    "DA4": "revalued I$; revalued R$; user AN12",
    "DA5": "discounts R$; discounts R#; discounts I$; discounts I#; surcharges R$; "
    "surcharges R#; surcharges I$; surcharges I#",
    "DA6": "revalue_incentive I$; revalue_incentive R$",
    "DA7": "group AN4; net R$; added R$; discount R$; uses I#; uses R#; net I$; added I$; "
    "discount I$",
    "DA8": "",
    "DA9": _FROM_RESET_AMOUNT.format("overpay"),
    "DA10": "mixed I#; mixed I$; mixed R#; mixed R$",
}
CASHLESS |= {"DB" + segment[2:]: elements for segment, elements in CASHLESS.items()}

TOKENS_AND_HOPPERS = {
    "TA2": "vend_tokens I$8; vend_tokens I#8; vend_tokens R$6; vend_tokens R#6; value_tokens I$; "
    "value_tokens I#; value_tokens R$6; value_tokens R#6",
    "TA3": _FROM_RESET_AMOUNT.format("in"),
    "TA4": _FROM_RESET_AMOUNT.format("out"),
    "TA5": _FROM_RESET_AMOUNT.format("overpay"),
    "TA6": _FROM_RESET_AMOUNT.format("filled"),
    "TA7": "",
    "TA8": "",
    "TA9": "",
    "TA10": "",
    "HA2": "in R$; filled R$; in I$; filled I$",
    "HA3": "out R$; by_hand R$; out I$; by_hand I$",
    "HA4": "",
    "HB2": "in R$; filled R$; in I$; filled I$",
    "HB3": "out R$; by_hand R$; out I$; by_hand I$",
    "HB4": "",
}

PRODUCTS = {
    "PA1": "selection AN6; price $8; name AN20; capacity N4; standard_fill N4; "
    "quantity_per_vend N4; status N1; current_level N4; minimum_level N4",
    "PA2": "paid I#8; paid I$8; paid R#6; paid R$8; discounts I#; discounts I$; discounts R#; "
    "discounts R$; surcharges I#; surcharges I$; surcharges R#6; surcharges R$8",
    "PA3": "test I#8; test I$8; test R#6; test R$8",
    "PA4": "free I#8; free I$8; free R#6; free R$8; without_cup I#; without_cup R#",
    "PA5": "date DT; time TM; asked R#4",
    "PA6": "selection AN6; text AN20; tax_group N1; status N1; free_vend N1; user AN12",
    "PA7": "selection AN8; device ID; price_list N3; price $; paid I#8; paid I$8; paid R#6; "
    "paid R$8",
    "PA8": "mixed I#; mixed I$; mixed R#; mixed R$",
    "PP1": "selection AN6; price $; name AN20; incremental_price $; chosen I#6; chosen I$8; "
    "chosen R#6; chosen R$8",
    "LA1": "price_list N1; selection AN8; price $; vends R#6; vends I#8",
    "SA1": "item AN20; added N4; removed N4; price $; column AN6; user AN12",
    "SA2": "ingredient AN20; used R#; used I#",
    "MR1": "all_vends I#; paid I#; free I#; test R#; test I#",
    "MR2": "selection AN6; vends I#",
}

EVENTS = {
    "EA1": "event AN20; date DT; time TM; minutes N; milliseconds N; user AN12",
    "EA2": "event AN20; happened R#6; happened I#6; user AN12; active N1; minutes N",
    "EA3": "reads_with_reset I#; date DT; time TM; reader AN20; previous_date DT; "
    "previous_time TM; previous_reader AN20; user AN12; reads I#; resets I#",
    "EA4": "date DT; time TM; terminal AN20; user AN12",
    "EA5": "date DT; time TM; terminal AN20; user AN12; price_changes R#",
    "EA6": "date DT; time TM; terminal AN20; user AN12",
    "EA7": "power_outages R#6; power_outages I#8",
    "EA8": "",
    "EA9": "machine_hours I#6; products I#",
    "MA5": "label AN20; data AN100",
    "SD1": "password_1 AN20; password_2 AN20; -; -; interval_reset ID; event_reset ID",
}

ELEMENTS_OF: dict[str, str] = {
    **CONTROL,
    **IDENTIFICATION,
    **VENDS,
    **CASH,
    **CASHLESS,
    **TOKENS_AND_HOPPERS,
    **PRODUCTS,
    **EVENTS,
}

"""What a product is to the tax: the same bar is candy in one state and food in another.

The definitions are those of the Streamlined Sales Tax library of definitions as member states have
adopted them (candy, soft drink, dietary supplement), and what other states have of their own. A
fact that a definition asks for and nobody has written down leaves the product without a class.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final


class ClassCode(StrEnum):
    """The classes that rules name."""

    SOFT_DRINK = "soft_drink"
    JUICE = "juice"
    WATER = "water"
    FLAVOURED_WATER = "flavoured_water"
    MILK = "milk"
    HOT_DRINK = "hot_drink"
    OTHER_DRINK = "other_drink"
    CANDY = "candy"
    SUPPLEMENT = "supplement"
    HEATED_FOOD = "heated_food"
    CHILLED_FOOD = "chilled_food"
    OTHER_FOOD = "other_food"
    NOT_FOOD = "not_food"
    UNKNOWN = "unknown"


WORDS: Final[dict[ClassCode, str]] = {
    ClassCode.SOFT_DRINK: "soft drink",
    ClassCode.JUICE: "juice or juice drink",
    ClassCode.WATER: "plain water",
    ClassCode.FLAVOURED_WATER: "flavoured water",
    ClassCode.MILK: "milk or a milk drink",
    ClassCode.HOT_DRINK: "hot drink",
    ClassCode.OTHER_DRINK: "other drink",
    ClassCode.CANDY: "candy",
    ClassCode.SUPPLEMENT: "dietary supplement",
    ClassCode.HEATED_FOOD: "heated food",
    ClassCode.CHILLED_FOOD: "chilled food",
    ClassCode.OTHER_FOOD: "other food",
    ClassCode.NOT_FOOD: "not food",
    ClassCode.UNKNOWN: "no class",
}
DRINKS: Final = frozenset(
    {
        ClassCode.SOFT_DRINK,
        ClassCode.JUICE,
        ClassCode.WATER,
        ClassCode.FLAVOURED_WATER,
        ClassCode.MILK,
        ClassCode.HOT_DRINK,
        ClassCode.OTHER_DRINK,
    }
)
FOOD: Final = frozenset(ClassCode) - {ClassCode.NOT_FOOD, ClassCode.UNKNOWN}


class Status(StrEnum):
    """How far a source was checked."""

    READ = "read"
    SECONDARY = "secondary"
    MEMORY = "memory"

    @property
    def words(self) -> str:
        return {
            Status.READ: "verified: the rule itself was read",
            Status.SECONDARY: "unverified: read in a secondary text",
            Status.MEMORY: "unverified: from memory",
        }[self]

    @property
    def is_verified(self) -> bool:
        return self is Status.READ


class Form(StrEnum):
    DRINK = "drink"
    BAR_DROP_PIECE = "bar_drop_piece"
    OTHER_FOOD = "other_food"
    NOT_FOOD = "not_food"


class Water(StrEnum):
    NONE = ""
    PLAIN = "plain"
    FLAVOURED = "flavoured"


@dataclass(frozen=True)
class Attributes:
    """The facts of a product that definitions ask for; None where nobody has written them down.

    `juice_percent` by volume, 0 to 100.
    """

    form: Form
    sweetened: bool | None = None
    juice_percent: int | None = None
    contains_milk: bool | None = None
    carbonated: bool | None = None
    contains_flour: bool | None = None
    needs_refrigeration: bool | None = None
    heated: bool = False
    supplement_facts: bool = False
    water: Water = Water.NONE

    def __post_init__(self) -> None:
        if self.juice_percent is not None and not 0 <= self.juice_percent <= 100:
            raise ValueError(f"juice_percent is {self.juice_percent}; give 0 to 100")


@dataclass(frozen=True)
class Definitions:
    """How a state tells soft drinks and candy from other food.

    A drink with juice is no soft drink from `juice_from` percent on; where `juice_above` is set, it
    must be more than that.
    """

    states: frozenset[str]
    citation: str
    status: Status
    juice_from: int | None = None
    juice_above: int | None = None
    flour_makes_food: bool = True
    cold_makes_food: bool = True
    flavoured_water_is_soft_drink: bool = False

    def is_juice(self, percent: int) -> bool:
        """Whether so much juice takes a sweetened drink out of the soft drinks."""
        if self.juice_from is not None:
            return percent >= self.juice_from
        return percent > (50 if self.juice_above is None else self.juice_above)

    @property
    def juice_words(self) -> str:
        if self.juice_from is not None:
            return f"{self.juice_from} % juice or more"
        return f"more than {50 if self.juice_above is None else self.juice_above} % juice"


SST_STATES: Final = frozenset(
    (
        *("AR", "GA", "IN", "IA", "KS", "KY", "MI", "MN", "NE", "NV", "NJ", "NC"),
        *("ND", "OH", "OK", "RI", "SD", "TN", "UT", "VT", "WA", "WV", "WI", "WY"),
    )
)
READ_STATES: Final = frozenset({"IA", "IN", "MN", "NC", "OH", "TN", "WA"})
"""Members of whose adopted wording at least one definition was read; candy in MN, TN and WA, soft
drinks in NC, OH and WA, supplements in IA, IN and WA."""
STREAMLINED: Final = Definitions(
    states=READ_STATES,
    citation="Streamlined Sales and Use Tax Agreement, library of definitions, as members adopted",
    status=Status.READ,
    juice_above=50,
)
STREAMLINED_ELSEWHERE: Final = replace(
    STREAMLINED, states=SST_STATES - READ_STATES, status=Status.SECONDARY
)
OWN_DEFINITIONS: Final = (
    Definitions(
        states=frozenset({"NY"}),
        citation="N.Y. Tax Bulletin TB-ST-280: fruit drinks of less than 70 % juice",
        status=Status.READ,
        juice_from=70,
    ),
    Definitions(
        states=frozenset({"PA"}),
        citation="61 Pa. Code 31.28 and 31.2: juice beverages of 25 % juice or more",
        status=Status.READ,
        juice_from=25,
    ),
    Definitions(
        states=frozenset({"TX"}),
        citation="34 TAC 3.293: more than 50 % juice is food; flavoured water is a soft drink",
        status=Status.READ,
        juice_above=50,
        flavoured_water_is_soft_drink=True,
    ),
)


@dataclass(frozen=True)
class Classed:
    """The class of a product in a state, why, and where the definition stands."""

    code: ClassCode
    why: str
    citation: str
    status: Status

    @property
    def words(self) -> str:
        return WORDS[self.code]


def definitions_of(state: str) -> Definitions:
    """What a state defines. Where none of its own is entered, the Streamlined one is used and is
    marked as from memory for that state."""
    for one in OWN_DEFINITIONS:
        if state in one.states:
            return one
    for shared in (STREAMLINED, STREAMLINED_ELSEWHERE):
        if state in shared.states:
            return shared
    return Definitions(
        states=frozenset({state}),
        citation=f"no definition of {state} is entered; the Streamlined definitions are used",
        status=Status.MEMORY,
        juice_above=50,
    )


def classify(product: Attributes, state: str) -> Classed:
    """The class of a product in a state (two letters), with the reason."""
    terms = definitions_of(state)
    code, why = _food(product, terms) if product.form is not Form.DRINK else _drink(product, terms)
    return Classed(code, why, terms.citation, terms.status)


def _food(product: Attributes, terms: Definitions) -> tuple[ClassCode, str]:
    if product.form is Form.NOT_FOOD:
        return ClassCode.NOT_FOOD, "it is not food"
    if product.supplement_facts:
        return ClassCode.SUPPLEMENT, "it carries a Supplement Facts box"
    if product.heated:
        return ClassCode.HEATED_FOOD, "it is sold heated"
    if product.form is Form.BAR_DROP_PIECE:
        return _bar(product, terms)
    if product.needs_refrigeration is None:
        return _unknown("whether it needs refrigeration")
    if product.needs_refrigeration:
        return ClassCode.CHILLED_FOOD, "it needs refrigeration"
    return ClassCode.OTHER_FOOD, "it is food that needs no cold"


def _bar(product: Attributes, terms: Definitions) -> tuple[ClassCode, str]:
    if product.sweetened is False:
        return ClassCode.OTHER_FOOD, "no sweetener: not candy"
    if terms.flour_makes_food and product.contains_flour:
        return ClassCode.OTHER_FOOD, "flour is an ingredient: not candy"
    if terms.cold_makes_food and product.needs_refrigeration:
        return ClassCode.CHILLED_FOOD, "it needs refrigeration: not candy"
    for value, asked in (
        (product.sweetened, "whether it is sweetened"),
        (product.contains_flour, "whether it contains flour"),
        (product.needs_refrigeration, "whether it needs refrigeration"),
    ):
        if value is None:
            return _unknown(asked)
    return (
        ClassCode.CANDY,
        "sweetened, in bars, drops or pieces, without flour, needs no refrigeration",
    )


def _drink(product: Attributes, terms: Definitions) -> tuple[ClassCode, str]:
    if product.supplement_facts:
        return ClassCode.SUPPLEMENT, "it carries a Supplement Facts box"
    if product.heated:
        return ClassCode.HOT_DRINK, "it is sold hot"
    if product.water is Water.PLAIN:
        return ClassCode.WATER, "plain water"
    if product.water is Water.FLAVOURED and terms.flavoured_water_is_soft_drink:
        return ClassCode.SOFT_DRINK, "flavoured water counts as a soft drink here"
    if product.contains_milk:
        return ClassCode.MILK, "it contains milk or a milk substitute"
    if product.contains_milk is None and product.water is Water.NONE:
        return _unknown("whether it contains milk or a milk substitute")
    juice = product.juice_percent
    if product.sweetened is None:
        return _unknown("whether it is sweetened")
    if not product.sweetened:
        if product.water is Water.FLAVOURED:
            return ClassCode.FLAVOURED_WATER, "flavoured water without sweetener"
        if juice:
            return ClassCode.JUICE, f"{juice} % juice and no sweetener"
        return ClassCode.OTHER_DRINK, "a drink without sweetener"
    if juice is None:
        return _unknown("how much juice it holds")
    if terms.is_juice(juice):
        return ClassCode.JUICE, f"{juice} % juice; {terms.juice_words} is no soft drink"
    return ClassCode.SOFT_DRINK, f"sweetened, {juice} % juice, no milk"


def _unknown(asked: str) -> tuple[ClassCode, str]:
    return ClassCode.UNKNOWN, f"nobody has written down {asked}"

"""Cautions that the pages carry: common to all griddle baking, whatever was found."""

from collections.abc import Iterable

from kit.formula.allergens import contained

__all__ = ["GENERAL", "SAFETY", "cautions"]

#: What, what about it, and the document that says so ("" for common practice).
SAFETY = (
    (
        "Hot surface and gas",
        "A griddle burns skin and can set fat alight. Keep a thermometer on the surface, air the "
        "room, and never leave a flame or a hot griddle alone.",
        "",
    ),
    (
        "Raw flour and egg",
        "Flour is not heated before it is sold. Do not taste dough, wash hands and worktops after "
        "it, and bake muffins through.",
        "FDA and CDC advice on raw flour and dough (2016)",
    ),
    (
        "Milk dough held warm",
        "A dough with milk or egg may count as food that must be kept at 5 °C (41 °F) or colder, "
        "or 57 °C (135 °F) or hotter. One widely adopted code allows up to four hours between, "
        "after which it is cooked, served or thrown away. Write down how long the dough stands "
        "warm; whether the rule holds for it is for your food authority to say.",
        "FDA Food Code, sections 3-501.16 and 3-501.19",
    ),
    (
        "Allergens",
        "Wheat, milk and egg must be declared in the European Union and the United States. Barley "
        "malt carries gluten: it is on the European list, not on the American one, and no food "
        "for people with coeliac disease on either side.",
        "Regulation (EU) No 1169/2011, Annex II; FALCPA (2004) and FASTER Act (2021)",
    ),
    (
        "Acrylamide",
        "It forms where a dry crust passes about 120 °C, and more of it with more malt and with "
        "longer or hotter browning. Aim for golden, not dark.",
        "Regulation (EU) 2017/2158",
    ),
)

GENERAL = (
    "This is general information from the documents named, not advice for your premises. "
    "Food laws, allergen labelling and the rules for gas and electricity differ from "
    "place to place: follow your local food code, and ask your food authority or a "
    "licensed professional before you sell or change equipment."
)


def cautions(ingredients: Iterable[tuple[str, str]] = ()) -> tuple[tuple[str, str, str], ...]:
    """Return `SAFETY`, its allergens led by those that ingredients, as (name, role), contain."""
    found = contained(ingredients)
    own = f"By its ingredients' names this holds {found}; their labels decide. " if found else ""
    return tuple(
        (what, own + text if what == "Allergens" else text, source) for what, text, source in SAFETY
    )

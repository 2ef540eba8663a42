"""The kit: what can be counted in this procedure, how it is said, and how it is packed."""

from enum import StrEnum

from pydantic import BaseModel, ConfigDict, Field


class Group(StrEnum):
    """Count groups, in the usual order of a count (common practice, no source)."""

    SPONGES = "sponges"
    SHARPS = "sharps"
    SMALL_ITEMS = "small_items"
    INSTRUMENTS = "instruments"


class Item(BaseModel):
    """Something that is counted.

    ``spoken`` are all the ways people say it, singular and plural, lower case. ``pack`` is how many
    come in one sealed pack. ``expected`` is how many the procedure opens with, if the kit says so.
    ``most`` is the largest plausible number in one case. ``parts`` names the parts that are counted
    one by one where the item is more than one piece.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str
    group: Group
    spoken: tuple[str, ...] = Field(min_length=1)
    pack: int | None = Field(default=None, ge=2, le=100)
    expected: int | None = Field(default=None, ge=0, le=999)
    most: int = Field(default=99, ge=1, le=999)
    parts: tuple[str, ...] = ()


class Medication(BaseModel):
    """A medication or solution that may be passed onto the sterile field.

    ``strengths`` are the strengths the site stocks, as written (``1 %``, ``1:200,000``).
    ``diluent`` is the id of the medication or solution that this one is usually mixed with.
    ``keeps_hours`` is how many hours it keeps once it is on the field, if the kit says so.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str
    spoken: tuple[str, ...] = Field(min_length=1)
    strengths: tuple[str, ...] = ()
    diluent: str | None = None
    keeps_hours: int | None = Field(default=None, ge=1, le=999)


class SetUpNote(BaseModel):
    """How one item is set up: its place in the order of use, and where tip and handle point."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    order: int | None = Field(default=None, ge=1, le=999)
    tip: str | None = None
    handle: str | None = None


class Kit(BaseModel):
    """Everything the tool knows about one procedure at one site.

    ``pronunciations`` gives ARPAbet phones without stress for words the CMU dictionary lacks or
    says differently. ``mayo_stand`` and ``back_table`` list item ids in order of set-up;
    ``set_up`` holds notes on items by their id.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: str
    procedure: str
    items: tuple[Item, ...] = Field(min_length=1)
    medications: tuple[Medication, ...] = ()
    pronunciations: dict[str, tuple[str, ...]] = {}
    mayo_stand: tuple[str, ...] = ()
    back_table: tuple[str, ...] = ()
    set_up: dict[str, SetUpNote] = {}

    def item(self, item_id: str) -> Item:
        """The item with this id; ``KeyError`` if the kit has none."""
        return {item.id: item for item in self.items}[item_id]

    def medication(self, medication_id: str) -> Medication:
        """The medication with this id; ``KeyError`` if the kit has none."""
        return {medication.id: medication for medication in self.medications}[medication_id]

"""Entries for the care a machine gets at the end of a night and once a week."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field

from logbook.domain.entries.base import Done, Quantity, Words, catalogue
from logbook.domain.entries.facts import Metre


@catalogue.add
class Empty(Done):
    """The dirty-water tank was emptied. Alone it ends no duty: what dries in the tank still ruins it."""

    kind = "empty"
    meaning: ClassVar[str] = "The dirty-water tank was emptied."
    words: ClassVar[Words] = Words(
        en=("empty", "emptied", "drained", "dumped"),
        es=("vacie", "vaciar", "vaciado", "vaciada", "drene", "bote", "tire"),
    )


@catalogue.add
class Rinse(Done):
    """The dirty-water tank was emptied and rinsed, its strainer basket and float with it."""

    kind = "rinse"
    meaning: ClassVar[str] = "The dirty-water tank was emptied and rinsed."
    words: ClassVar[Words] = Words(
        en=("rinse", "rinsed"), es=("enjuague", "enjuagar", "enjuagado", "enjuagada", "lave", "lavado")
    )


@catalogue.add
class Fill(Done):
    """The clean-water tank was filled."""

    kind = "fill"
    meaning: ClassVar[str] = "The clean-water tank was filled."
    words: ClassVar[Words] = Words(
        en=("fill", "filled"),
        es=("llene", "llenar", "llenado", "llenada"),
        quantity=Quantity("water_ml", "volume", 1_000, 400_000),
    )
    example: ClassVar[dict[str, Any]] = {"water_ml": 60_000}

    water_ml: Annotated[int, Field(ge=1_000, le=400_000)] | None = None


@catalogue.add
class Squeegee(Done):
    """The squeegee was wiped and looked at."""

    kind = "squeegee"
    meaning: ClassVar[str] = "The squeegee was wiped and checked."
    words: ClassVar[Words] = Words(en=("squeegee",), es=("haragan", "escurridor", "jalador", "secador"))


@catalogue.add
class Wipe(Done):
    """The machine was wiped down."""

    kind = "wipe"
    meaning: ClassVar[str] = "The machine was wiped down."
    words: ClassVar[Words] = Words(en=("wipe", "wiped"), es=("limpie", "limpiar", "limpiada"))


@catalogue.add
class Charge(Done):
    """The machine was put on charge."""

    kind = "charge"
    meaning: ClassVar[str] = "The machine was put on charge."
    words: ClassVar[Words] = Words(
        en=("charge", "charged", "charging", "plugged", "plug", "on charge"),
        es=("cargue", "cargar", "cargando", "carga", "cargada", "cargo", "en carga", "enchufe", "enchufar",
            "enchufada", "conecte", "conectada"),
    )  # fmt: skip


@catalogue.add
class Unplug(Done):
    """The machine was taken off its charger."""

    kind = "unplug"
    meaning: ClassVar[str] = "The machine was taken off charge."
    words: ClassVar[Words] = Words(
        en=("unplug", "unplugged"), es=("desenchufe", "desenchufar", "desconecte", "desconectada")
    )


@catalogue.add
class Watering(Done):
    """The battery's cells were topped up with distilled water, in all `water_ml` for the set."""

    kind = "watering"
    meaning: ClassVar[str] = "The battery was watered."
    words: ClassVar[Words] = Words(
        en=("watered", "battery water", "topped"),
        es=("agua bateria", "agua destilada", "rellene"),
        quantity=Quantity("water_ml", "volume", 1, 20_000),
        with_quantity=("water", "agua"),
    )
    example: ClassVar[dict[str, Any]] = {"water_ml": 2_100}

    water_ml: Annotated[int, Field(ge=1, le=20_000)] | None = None


@catalogue.add
class Filter(Done):
    """The clean-water filter was cleaned."""

    kind = "filter"
    meaning: ClassVar[str] = "The clean-water filter was cleaned."
    words: ClassVar[Words] = Words(en=("filter",), es=("filtro",))


@catalogue.add
class Gravity(Done):
    """A hydrometer reading of the battery, in thousandths (1265 is 1.265)."""

    kind = "gravity"
    meaning: ClassVar[str] = "The battery acid's specific gravity was read."
    words: ClassVar[Words] = Words(
        en=("sg", "gravity"),
        es=("densidad",),
        quantity=Quantity("gravity_milli", "gravity", 1_000, 1_400, required=True),
    )
    example: ClassVar[dict[str, Any]] = {"gravity_milli": 1_265}

    gravity_milli: Annotated[int, Field(ge=1_000, le=1_400)]


@catalogue.add
class Hours(Done):
    """A reading of the hour meter, kept in seconds."""

    kind = "hours"
    meaning: ClassVar[str] = "The hour meter was read."
    words: ClassVar[Words] = Words(
        en=("hours", "hourmeter"),
        es=("horas", "horometro"),
        quantity=Quantity("meter_s", "hours", 0, 359_999_640, required=True),
    )
    example: ClassVar[dict[str, Any]] = {"meter_s": 4_440_960}

    meter_s: Metre

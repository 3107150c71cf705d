"""What a thumb types: words in two languages, slips that can be read, and texts that must be refused.

The words are those of the text grammar's table; the slips were looked at one by one: each has one error, is no
common word of either language, and is near the words of one kind only. Nothing here reads a text.
"""

from __future__ import annotations

import random
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    "en": {
        "start": ("start", "started", "starting"), "prepared": ("checked", "ready", "prepared"),
        "empty": ("empty", "emptied", "drained"), "rinse": ("rinse", "rinsed"), "fill": ("fill", "filled"),
        "squeegee": ("squeegee",), "wipe": ("wiped", "wipe"),
        "charge": ("charged", "charge", "plugged in", "on charge"),
        "unplug": ("unplug", "unplugged"), "put_away": ("parked", "put away", "away"),
        "watering": ("water", "battery water"), "filter": ("filter",), "gravity": ("sg", "gravity"),
        "segments": ("seg", "segs", "segments"), "segment_change": ("seg new", "new segments", "seg replaced"),
        "hours": ("hours",), "not_used": ("not used", "unused"),
    },
    "es": {
        "start": ("empiezo", "prendi", "encendí", "arranque"), "prepared": ("revisada", "preparada", "revise"),
        "empty": ("vacié", "vacie", "vaciada"), "rinse": ("enjuagué", "enjuague", "enjuagada"),
        "fill": ("llené", "llenado"), "squeegee": ("haragan", "escurridor", "jalador"), "wipe": ("limpie", "limpiada"),
        "charge": ("cargué", "enchufe", "enchufada", "en carga"), "unplug": ("desenchufe", "desconecte"),
        "put_away": ("guardada", "guarde", "estacionada"), "watering": ("agua", "agua bateria"), "filter": ("filtro",),
        "gravity": ("densidad",), "segments": ("segmentos", "diamantes"),
        "segment_change": ("segmentos nuevos", "cambie segmentos"), "hours": ("horas", "horometro"),
        "not_used": ("no usada", "sin usar"),
    },
}  # fmt: skip

SLIPS: dict[str, tuple[str, ...]] = {
    "started": ("satrted", "startted"), "checked": ("cehcked", "chekced"), "emptied": ("emptyed", "emtpied"),
    "rinse": ("rince", "risne"), "rinsed": ("rinsd", "risned"), "squeegee": ("squegee", "sqeegee", "squeege"),
    "charge": ("chrage", "cahrge"), "charged": ("chraged", "chargd"), "parked": ("pakred", "parkd"),
    "filter": ("fitler", "filetr"), "segments": ("segmnets", "segemnts"), "empiezo": ("empizo", "epmiezo"),
    "revisada": ("revsada", "reivsada"), "vaciada": ("vacaida",), "enjuague": ("enjuauge", "enjuage"),
    "enjuagada": ("enjuagda", "enjugaada"), "haragan": ("haragn", "harragan"),
    "escurridor": ("escuridor", "escurirdor"),
    "jalador": ("jalaodr",), "enchufe": ("enchfue", "encuhfe"), "enchufada": ("enchufda", "enchuafda"),
    "guardada": ("gaurdada", "guardda"), "estacionada": ("estacoinada", "estacionda"), "filtro": ("fitlro", "filrto"),
    "segmentos": ("segmnetos", "segemntos"),
}  # fmt: skip

FAULTS = {
    "en": (("fault squeegee hose leaks", "leak fixed"), ("vacuum motor broken", "motor repaired"),
           ("problem with the brush deck lift", "lift fixed"), ("left wheel leaking oil", "wheel repaired")),
    "es": (("falla en la manguera", "manguera reparada"), ("no prende la aspiradora", "aspiradora arreglada"),
           ("gotea el deposito", "deposito reparado")),
}  # fmt: skip
_TAILS = {
    "en": ("", "", "", "", " ok thanks", " done", " thanks", " 👍"),
    "es": ("", "", "", "", " gracias", " listo", " ya", " 👍"),
}
_HEADS = {"en": ("", "", "", "hi "), "es": ("", "", "", "hola ")}


def clock(moment: datetime, zone: ZoneInfo, rng: random.Random, language: str) -> str:
    """A wall-clock time as it is typed, always with its leading zero, so that no one need ask which half of the day."""
    wall = moment.astimezone(zone)
    digits = wall.strftime("%H%M")
    forms = {
        "en": (f"at {digits}", digits, f"at {wall:%H:%M}"),
        "es": (f"a las {wall:%H:%M}", digits, f"a las {digits}"),
    }
    return rng.choice(forms[language])


def code(machine: str, rng: random.Random) -> str:
    """A plate's code as it is typed."""
    return rng.choice(
        (machine, machine, machine, machine.lower(), machine.lower(), f"{machine[:2].lower()} {machine[2].lower()}")
    )


def word(kind: str, language: str, rng: random.Random, slip: float = 0.0) -> str:
    """A word for a kind, sometimes with a slip in it."""
    chosen = rng.choice(WORDS[language][kind])
    if chosen in SLIPS and rng.random() < slip:
        return rng.choice(SLIPS[chosen])
    return chosen


def quantity(kind: str, data: dict[str, Any], language: str, rng: random.Random) -> str:
    """The number beside a word, with its unit, or nothing."""
    if kind == "watering" and "water_ml" in data:
        millilitres = data["water_ml"]
        litres = f"{millilitres / 1000:.1f}"
        if language == "es":
            return rng.choice((f" {litres.replace('.', ',')} lt", f" {litres} l"))
        return rng.choice((f" {litres} l", f" {litres}l", f" {litres} litres"))
    if kind == "fill" and "water_ml" in data:
        return f" {data['water_ml'] // 1000} l"
    if kind == "put_away" and "charge_pct" in data:
        return rng.choice((f" {data['charge_pct']} %", f" {data['charge_pct']}%"))
    if kind == "gravity":
        return rng.choice((f" {data['gravity_milli']}", f" {data['gravity_milli'] / 1000:.3f}"))
    if kind == "hours":
        return f" {data['meter_s'] / 3600:.1f}"
    if kind == "segments":
        return " " + " ".join(f"{length / 1000:.1f}mm" for length in data["left_um"])
    return ""


def sentence(language: str, rng: random.Random, acts: list[tuple[str, dict[str, Any]]], slip: float = 0.0) -> str:
    """Several acts in one breath, with commas: without one, a verb may take the next word as its object."""
    parts = []
    for kind, data in acts:
        said = word(kind, language, rng, slip)
        if kind == "watering" and "water_ml" not in data:
            said = {"en": "battery water", "es": "agua bateria"}[language]
        parts.append(said + quantity(kind, data, language, rng))
    if len(parts) == 1:
        return parts[0]
    last = rng.choice((", ", {"en": " and ", "es": " y "}[language]))
    return ", ".join(parts[:-1]) + last + parts[-1]


def dressed(text: str, language: str, rng: random.Random) -> str:
    """The same, with the small words around it that people type."""
    return rng.choice(_HEADS[language]) + text + rng.choice(_TAILS[language])


def refusable(machine: str, language: str, rng: random.Random) -> str:
    """A text about the closing work that must be refused: asked back, and nothing saved."""
    # Swapped, or with another check character: neither can be a code of the same length that was issued.
    wrong = machine[0] + machine[2] + machine[1]
    mistyped = machine[:2] + ("K" if machine[2] != "K" else "X")
    return rng.choice(
        {
            "en": (
                f"{mistyped} rinse charge", f"{wrong} rinse", f"{machine} chage", f"{machine} charge later",
                f"{machine} not rinsed", f"{machine} tank full", f"{machine} rinsed filter", f"{machine} charge 83 %",
                f"{machine} rinse zzgrk", f"{machine} please rinse", f"{machine} charge?", f"{machine} rinse at 4",
            ),
            "es": (
                f"{mistyped} enjuague", f"{machine} cargo luego", f"{machine} no enjuague", f"{machine} tanque lleno",
                f"{machine} enjuague filtro", f"{machine} carga 83 %", f"{machine} enjuague trapoz",
                f"{machine} por favor cargar", f"{machine} voy a cargar",
            ),
        }[language]
    )  # fmt: skip

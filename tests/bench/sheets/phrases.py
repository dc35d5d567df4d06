"""The words of a sheet: drawn from a phrase bank in one language."""

from __future__ import annotations

import random
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeAlias

Bank: TypeAlias = dict[str, dict[str, dict[str, Any]]]

PLACES = {
    "en": ["Kitchen", "Workshop", "Office 2", "Hall", "Store room", "Laundry", "Loading dock"],
    "de": ["Küche", "Werkstatt", "Büro 2", "Flur", "Lager", "Waschraum", "Halle 3"],
    "fr": ["Cuisine", "Atelier", "Bureau 2", "Couloir", "Réserve", "Buanderie", "Hall 3"],
    "es": ["Cocina", "Taller", "Oficina 2", "Pasillo", "Almacén", "Lavandería", "Nave 3"],
    "it": ["Cucina", "Officina", "Ufficio 2", "Corridoio", "Magazzino", "Lavanderia", "Atrio"],
    "nl": ["Keuken", "Werkplaats", "Kantoor 2", "Gang", "Magazijn", "Wasruimte", "Hal 3"],
    "pt": ["Cozinha", "Oficina", "Escritório 2", "Corredor", "Armazém", "Lavandaria", "Átrio"],
}
THINGS = {
    "en": ["Lights", "Wall outlets", "Hand dryer", "Heater", "Fridges", "Bench outlets"],
    "de": ["Licht", "Steckdosen Wand", "Händetrockner", "Heizung", "Kühlung", "Werkbank"],
    "fr": ["Éclairage", "Prises mur", "Sèche-mains", "Chauffage", "Frigos", "Établi"],
    "es": ["Alumbrado", "Enchufes pared", "Secamanos", "Calefacción", "Neveras", "Banco"],
    "it": ["Luci", "Prese parete", "Asciugamani", "Riscaldamento", "Frigoriferi", "Banco"],
    "nl": ["Verlichting", "Wandcontactdozen", "Handdroger", "Verwarming", "Koeling", "Werkbank"],
    "pt": ["Iluminação", "Tomadas parede", "Secador de mãos", "Aquecimento", "Frigoríficos", "Bancada"],
}
PREFIXES = {"en": "RCD", "de": "FI", "fr": "DDR", "es": "DIF", "it": "DIFF", "nl": "ALS", "pt": "DR"}
SITES = ["Northmill", "Ostervik", "Bramholt", "Lindmoor", "Quellmar", "Easthaven", "Tarnfeld"]
PERSONS = ["J. Probe", "A. Ohmsen", "K. Lund", "M. Testa", "JP", "AO", "Kim L"]
INSTRUMENTS = ["M-204", "77-1182", "TM 3", "0419", "M7"]


def load_bank(path: Path) -> Bank:
    """Read a phrase bank."""
    return tomllib.loads(path.read_text(encoding="utf-8"))


class Words:
    """Draws phrases of one language; what the language lacks cannot be drawn, so that no sheet mixes languages."""

    def __init__(self, bank: Bank, language: str, rng: random.Random) -> None:
        self.language = language
        self.rng = rng
        self._bank = bank[language]

    def every(self, section: str, key: str) -> list[str]:
        """All phrases of a list that are not empty."""
        return [text for text in self._bank.get(section, {}).get(key, []) if text.strip()]

    def pick(self, section: str, key: str, fits: Callable[[str], bool] = lambda _: True) -> str:
        """One phrase of a list that fits, or of the whole list where none does."""
        texts = self.every(section, key)
        return self.rng.choice([text for text in texts if fits(text)] or texts)

    def pick_pair(self, section: str, first: str, second: str) -> tuple[str, str]:
        """Two phrases that belong together: a hand that types "0 deg" types "180 deg" beside it."""
        for _ in range(200):
            pair = (self.pick(section, first), self.pick(section, second))
            if _pattern(pair[0]) == _pattern(pair[1]):
                return pair
        index = self.rng.randrange(min(len(self.every(section, first)), len(self.every(section, second))))
        return self.every(section, first)[index], self.every(section, second)[index]

    def line(self, key: str, **values: object) -> str:
        """A text outside the table, filled in."""
        return self.pick("lines", key).format(**({"year": "2026"} | values))

    def slip(self, heading: str) -> str:
        """The heading with a slip of the keyboard, where the bank knows one for it."""
        slips: dict[str, str] = self._bank.get("slips", {})
        fitting = [(meant, typed) for meant, typed in slips.items() if meant in heading]
        return heading.replace(*self.rng.choice(fitting)) if fitting else heading


def normal(text: str) -> str:
    """A text as a reader takes it in: without case, spaces and signs, so that two alike headings can be told."""
    return re.sub(r"[^\w°+½]|_", "", text.casefold())


def _pattern(text: str) -> str:
    signs = {"+ve": "§", "-ve": "§", "pos": "§", "neg": "§", "(+)": "§", "(-)": "§"}
    for sign, neutral in signs.items():
        text = text.replace(sign, neutral)
    return re.sub(r"180|(?<![\d.,])0(?![\d.,])", "§", text)

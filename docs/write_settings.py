"""Write settings.md from the settings classes: python docs/write_settings.py"""

from pathlib import Path

from pydantic import BaseModel

from surfscan.procedures.settings import DegradedSettings, PitSettings

HEAD = """\
# Settings

Tables `[settings.pits]` and `[settings.degraded]` of `study.toml`, or `[pits]` and `[degraded]` of a
file given with `--settings`. What is left out keeps its default. Every result carries all of its settings.

<!-- Written by docs/write_settings.py. -->
"""


def settings_text() -> str:
    """The document."""
    return HEAD + "".join(_table(name, model) for name, model in TABLES.items())


TABLES: dict[str, type[BaseModel]] = {"pits": PitSettings, "degraded": DegradedSettings}


def _table(name: str, model: type[BaseModel]) -> str:
    defaults = model().model_dump(mode="json")
    rows = [
        f"| `{key}` | {_shown(defaults[key])} | {field.description} |"
        for key, field in model.model_fields.items()
    ]
    return "\n".join([f"\n## {name}\n", "| setting | default | meaning |", "|---|---|---|", *rows]) + "\n"


def _shown(value: object) -> str:
    return "unset" if value is None else f'`"{value}"`' if isinstance(value, str) else f"`{value}`"


if __name__ == "__main__":
    (Path(__file__).resolve().parent / "settings.md").write_text(settings_text(), encoding="utf-8")

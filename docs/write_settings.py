"""Write settings.md from the settings classes: python docs/write_settings.py"""

from pathlib import Path

from pydantic import BaseModel

from surfscan.study.entries import SETTINGS_TABLES

HEAD = """\
# Settings

Tables such as `[settings.pits]` of `study.toml`, or `[pits]` of a file given with `--settings`: `pits` and
`degraded` for pictures, `height_pits` and `texture` for height maps, `scale`, `struts`, `section`, `sweep`
and `exposure` for what the commands of those names measure, `immersion` for mass loss, gas and acid. What
is left out keeps its default. Every result carries all of its settings.

<!-- Written by docs/write_settings.py. -->
"""


def settings_text() -> str:
    """The document."""
    return HEAD + "".join(_table(name, model) for name, model in SETTINGS_TABLES.items())


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

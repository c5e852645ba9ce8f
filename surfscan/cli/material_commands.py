"""The command that shows what is known of a metal. Nothing heavy is imported before it runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surfscan.cli.options import JsonOut

if TYPE_CHECKING:
    from surfscan.materials.material import Material, Value


def material(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="Metal; all names are listed without it.")
    ] = None,
    json: JsonOut = None,
) -> None:
    """Show density, composition, valences and equivalent weight of a metal, each with its source."""
    from surfscan.cli.output import write_text
    from surfscan.cli.result_json import plain_json
    from surfscan.immersion.cleaning import cautions, cleaning_solutions
    from surfscan.materials.catalogue import find_material, materials

    if name is None:
        listed: Any = [each.as_dict() for each in materials()]
        text = "\n".join(_name_line(each) for each in materials())
    else:
        found = find_material(name)
        listed = found.as_dict() | {
            "cleaning_solutions": [each.as_dict() for each in cleaning_solutions(found)],
            "cleaning_cautions": cautions(found),
        }
        text = material_text(found)
    if json is None:
        print(text)
    else:
        write_text(json, plain_json(listed) + "\n")


def _name_line(material: Material) -> str:
    others = f" ({', '.join(material.aliases)})" if material.aliases else ""
    return material.name + others


def material_text(material: Material) -> str:
    """Every value of a metal with source and status, as lines of text.

    Parameters
    ----------
    material : Material

    Returns
    -------
    str
        Lines of text, the last without a line break.
    """
    from surfscan.immersion.cleaning import cautions, cleaning_solutions

    lines = [_name_line(material)]
    density = material.density_g_per_cm3
    lines.append(f"  density: {_said(density) if density else 'not known'}")
    lines += [f"    elsewhere: {_said(other)}" for other in material.other_densities]
    if material.composition:
        origin = next(iter(material.composition.values()))
        parts = ", ".join(f"{element} {100 * v.value:g} %" for element, v in material.composition.items())
        lines.append(f"  composition by mass: {parts} ({origin.source}; {origin.status})")
    for k, weight in enumerate(material.equivalent_weights):
        used = "equivalent weight" if k == 0 else "  with other valences"
        beside = "not printed in ASTM G102 as far as remembered"
        if weight.printed is not None:
            off = weight.difference_percent
            note = f"; {weight.printed.note}" if weight.printed.note else ""
            beside = f"printed {weight.printed.value:g} ({weight.printed.status}{note}), {off:+.2f} %"
        lines.append(f"  {used}: {weight.computed.value:.5g} g/mol at {weight.valences} (computed; {beside})")
    solutions = cleaning_solutions(material)
    lines += [f"  cleaning {each.name}: {each.recipe} ({each.source}; {each.status})" for each in solutions]
    lines += [f"  caution: {caution}" for caution in cautions(material)]
    return "\n".join(lines)


def _said(value: Value) -> str:
    spread = f", {value.low:g} to {value.high:g}" if value.low is not None else ""
    note = f"; {value.note}" if value.note else ""
    return f"{value.value:g} g/cm³{spread} ({value.source}; {value.status}{note})"

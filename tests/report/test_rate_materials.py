"""Materials behind the rates: every value with source and status."""

from surfscan.report.rate_materials import material_rows, materials_used


def test_each_material_once_with_its_specimens(rate_records):
    used = materials_used(rate_records.values())
    assert {name: sorted(specimens) for name, (_, specimens) in used.items()} == {
        "AZ31": ["E1", "U1", "U2", "U3"],
        "316": ["R1", "R2"],
    }


def test_every_value_has_a_source_and_a_status(rate_records):
    rows = material_rows(list(rate_records.values()))
    assert all(row["source"] and row["value_status"] for row in rows)
    magnesium = {row["value_of"]: row for row in rows if row["material"] == "AZ31"}
    assert magnesium["density"]["value"] == 1.78 and magnesium["density"]["enters_rates"]
    assert magnesium["density"]["value_status"] == "stated by the user"
    assert magnesium["equivalent weight"]["value_status"] == "computed"
    assert not magnesium["density, another source"]["enters_rates"]
    assert magnesium["valence of Mg"]["value"] == 2


def test_a_stated_equivalent_weight_takes_the_place_of_composition(rate_records, changed):
    record = rate_records["active.csv"]
    stated = {"value": 12.0, "unit": "g/mol of electrons", "source": "s", "status": "stated by the user"}
    material = {**record.value("material"), "equivalent_weight": stated}
    rows = {row["value_of"]: row for row in material_rows([changed(record, material=material)])}
    assert rows["equivalent weight"]["value"] == 12.0
    assert not rows["mass fraction of Mg"]["enters_rates"]
    assert not rows["equivalent weight with Mg2 Al3 Zn2"]["enters_rates"]


def test_two_versions_of_one_name_both_stand(rate_records, changed):
    record = rate_records["active.csv"]
    other = changed(record, material={**record.value("material"), "other_densities": []})
    assert list(materials_used([record, other])) == ["AZ31", "AZ31 (2)"]

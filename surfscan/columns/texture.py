"""Areal texture parameters: symbol with unit, and definition; names of figures, not columns of rows."""

from __future__ import annotations

from surfscan.columns.base import Column

TEXTURE_PARAMETERS: tuple[Column, ...] = (
    Column("Sa_um", "µm", "float64", "Arithmetical mean height: mean of |z| over the area (ISO 25178-2)."),
    Column("Sq_um", "µm", "float64", "Root mean square height (ISO 25178-2)."),
    Column("Sz_um", "µm", "float64", "Maximum height: Sp + Sv (ISO 25178-2)."),
    Column("Ssk", "1", "float64", "Skewness of the heights: mean of z³ over Sq³ (ISO 25178-2)."),
    Column(
        "Sku", "1", "float64", "Kurtosis of the heights: mean of z⁴ over Sq⁴, 3 for Gaussian (ISO 25178-2)."
    ),
    Column("Sp_um", "µm", "float64", "Maximum peak height above the mean plane (ISO 25178-2)."),
    Column("Sv_um", "µm", "float64", "Maximum pit depth below the mean plane (ISO 25178-2)."),
    Column(
        "Sdq",
        "1",
        "float64",
        "Root mean square gradient (ISO 25178-2) of the planes through neighbouring samples: in each cell of "
        "four, over both diagonals.",
    ),
    Column(
        "Sdr",
        "1",
        "float64",
        "Developed interfacial area ratio, a fraction: area of these planes over its projection, less 1.",
    ),
    Column(
        "Sk_um",
        "µm",
        "float64",
        "Core height: height span of the line of least slope over 40 % of material ratio.",
    ),
    Column("Spk_um", "µm", "float64", "Reduced peak height, above the core (ISO 25178-2)."),
    Column("Svk_um", "µm", "float64", "Reduced dale height, below the core (ISO 25178-2)."),
    Column("Smr1", "1", "float64", "Material ratio at the top of the core, a fraction."),
    Column("Smr2", "1", "float64", "Material ratio at the foot of the core, a fraction."),
    Column("Vmp_um", "µm", "float64", "Peak material volume per area, material ratio 0 to 10 % (µm³/µm²)."),
    Column("Vmc_um", "µm", "float64", "Core material volume per area, 10 to 80 % (µm³/µm²)."),
    Column("Vvc_um", "µm", "float64", "Core void volume per area, 10 to 80 % (µm³/µm²)."),
    Column("Vvv_um", "µm", "float64", "Dale void volume per area, 80 to 100 % (µm³/µm²)."),
    Column(
        "Sal_um",
        "µm",
        "float64",
        "Autocorrelation length: shortest lag at which the autocorrelation falls to 0.2, between pixels by "
        "cubic convolution; pairs are not wrapped round the field, and count less towards its edges.",
    ),
    Column(
        "Str",
        "1",
        "float64",
        "Texture aspect ratio: shortest over longest lag at which the autocorrelation is 0.2.",
    ),
    Column(
        "Std_deg",
        "deg",
        "float64",
        "Texture direction: direction of the lay, -90 (excluded) to 90, counter-clockwise from the image row "
        "direction; across it the angular power spectrum is largest.",
    ),
)
"""In the order of the command contract."""

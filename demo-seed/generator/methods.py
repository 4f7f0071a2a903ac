"""Kits of the sampling bench: what is drawn through what, at which flow, and what the laboratory can see."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Kit:
    """One kind of sampling train and its analysis."""

    agents: tuple
    medium: str
    flow: float
    method: str
    laboratory: str
    fraction: str | None = None


HOLLIN = "Hollin Reach Analytical"
SALTMEADOW = "Saltmeadow Minerals Laboratory"
PENNYROYAL = "Pennyroyal Industrial Testing"

KITS = {
    "cr": Kit(("chromium_vi",), "PVC 5 um 37 mm", 2.0, "OSHA ID-215", HOLLIN),
    "cr_short": Kit(("chromium_vi",), "PVC 5 um 37 mm", 1.8, "NIOSH 7605", HOLLIN),
    "cr_slow": Kit(("chromium_vi",), "PVC 5 um 37 mm", 1.0, "NIOSH 7605", HOLLIN),
    "fume": Kit(("manganese", "nickel_total", "welding_fume_total"), "PVC 5 um 37 mm, preweighed", 2.0, "NIOSH 7303", HOLLIN),
    "mn": Kit(("manganese",), "MCE 0.8 um 37 mm", 2.5, "NIOSH 7303", HOLLIN),
    "silica": Kit(("silica_respirable",), "PVC 5 um 37 mm", 1.7, "NIOSH 7500", SALTMEADOW, "respirable"),
    "silica_22": Kit(("silica_respirable",), "PVC 5 um 37 mm", 2.2, "NIOSH 7500", SALTMEADOW, "respirable"),
    "lead": Kit(("lead",), "MCE 0.8 um 37 mm", 2.0, "NIOSH 7303", PENNYROYAL),
}


@dataclass(frozen=True)
class Readout:
    """How a laboratory reports an agent: unit, micrograms in that unit, limits and decimals."""

    unit: str
    micrograms: float
    reporting_limit: str
    detection_limit: str
    decimals: int


READOUTS = {
    "chromium_vi": Readout("ug", 1, "0.040", "0.013", 3),
    "manganese": Readout("ug", 1, "0.50", "0.15", 2),
    "nickel_total": Readout("ug", 1, "0.60", "0.20", 2),
    "welding_fume_total": Readout("mg", 1000, "0.050", "0.020", 3),
    "silica_respirable": Readout("ug", 1, "5.0", "1.7", 1),
    "lead": Readout("ug", 1, "0.60", "0.20", 2),
}

# How each laboratory names an agent in its files: by code, by CAS number or by name.
WRITTEN_AS = {
    (SALTMEADOW, "silica_respirable"): "14808-60-7",
    (PENNYROYAL, "lead"): "Lead, inorganic (metal, inorganic compounds, lead soaps)",
    (HOLLIN, "chromium_vi"): "18540-29-9",
}

COLUMNS = {
    HOLLIN: ("sample_number", "agent", "quantity", "comparator", "value", "unit", "reporting_limit", "detection_limit",
             "blank_corrected", "estimated", "replaces", "analysed_on"),
    SALTMEADOW: ("sample_number", "agent", "quantity", "comparator", "value", "unit", "reporting_limit",
                 "blank_corrected", "replaces"),
    PENNYROYAL: ("sample_number", "agent", "quantity", "comparator", "value", "unit", "reporting_limit",
                 "detection_limit", "estimated", "replaces", "analysed_on", "blank_corrected"),
}

ACCREDITATION = {HOLLIN: "invented scheme, no. 0417", SALTMEADOW: "invented scheme, no. 0229", PENNYROYAL: None}

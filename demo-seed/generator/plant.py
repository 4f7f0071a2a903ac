"""Sites, groups, tasks and controls of the invented employer, as plain tables."""

EMPLOYER = "Quillfeather Ropeways"
SCHEDULED_SINCE = "2020-11-02"

# code: name, time zone
SITES = {
    "ALD": ("Aldermoor cabin works", "America/Denver"),
    "BRK": ("Brackwater foundry", "America/Chicago"),
    "COL": ("Coldharrow overhaul depot", "America/Denver"),
    "SKE": ("Skerrow Point test tower", "America/New_York"),
}

# code: title, job classification, work area, shift pattern, start of the shift, agents expected
GROUPS = {
    "ALD-WELD": ("Frame welders, day line", "Welder", "Hall 1", "day, 06:30 to 15:00", 630, ["chromium_vi", "manganese", "nickel_total", "welding_fume_total"]),
    "ALD-WELDN": ("Frame welders, night line", "Welder", "Hall 1", "night, 22:00 to 06:30", 2200, ["chromium_vi", "manganese"]),
    "ALD-FIT": ("Jig fitters", "Fitter and tacker", "Hall 2", "day, 06:30 to 15:00", 630, ["chromium_vi"]),
    "ALD-BRKT": ("Bracket welders", "Welder", "Bay 4", "day, 06:30 to 15:00", 630, ["chromium_vi"]),
    "ALD-PLM": ("Plasma cutting", "Cutting operator", "Hall 3", "day, 06:30 to 15:00", 630, ["chromium_vi", "manganese", "nickel_total", "welding_fume_total"]),
    "ALD-GRD": ("Dressing and sawing", "Grinder", "Hall 3", "day, 06:30 to 15:00", 630, ["noise", "nickel_total", "welding_fume_total"]),
    "ALD-ASM": ("Cabin assembly", "Assembler", "Hall 4", "day, 06:30 to 15:00", 630, ["chromium_vi", "noise"]),
    "ALD-MNT": ("Works maintenance", "Maintenance fitter", "all halls", "day, 06:30 to 15:00", 630, ["chromium_vi"]),
    "BRK-KNO": ("Knock-out", "Knock-out operator", "Knock-out bay", "day, 06:00 to 14:30", 600, ["silica_respirable", "noise"]),
    "BRK-FET": ("Fettling shop", "Fettler", "Fettling shop", "day, 06:00 to 14:30", 600, ["silica_respirable", "noise"]),
    "BRK-CORE": ("Core shop", "Core maker", "Core shop", "day, 06:00 to 14:30", 600, ["silica_respirable"]),
    "BRK-MOULD": ("Moulding line", "Moulder", "Moulding hall", "day, 06:00 to 14:30", 600, ["silica_respirable"]),
    "BRK-MELT": ("Melting deck", "Furnace operator", "Melting deck", "four long days, 05:00 to 15:30", 500, ["silica_respirable", "noise"]),
    "BRK-BEAR": ("Bearing metal", "Bearing caster", "Bearing shop", "day, 06:00 to 14:30", 600, ["lead"]),
    "COL-STRIP": ("Paint stripping", "Paint stripper", "Strip bay", "day, 07:00 to 15:30", 700, ["lead", "noise"]),
    "COL-REP": ("Hanger repair welding", "Repair welder", "Repair bay", "day, 07:00 to 15:30", 700, ["chromium_vi"]),
    "COL-BLAST": ("Blast cabinets", "Blaster", "Blast room", "day, 07:00 to 15:30", 700, ["lead", "noise"]),
    "COL-GRIP": ("Grip workshop", "Grip mechanic", "Grip workshop", "day, 07:00 to 15:30", 700, ["noise"]),
    "SKE-RIG": ("Tower riggers", "Rigger", "Tower and yard", "day, 08:00 to 16:30", 800, ["noise", "lead"]),
}
LONG_SHIFTS = {"BRK-MELT": (4, 10)}

# code: title, group, usual minutes a shift, shifts a week
TASKS = {
    "ALD-T01": ("Frame seam welding, stainless", "ALD-WELD", 440, 5),
    "ALD-T02": ("Door sill welding", "ALD-WELD", 60, 2),
    "ALD-T03": ("Frame seam welding, night line", "ALD-WELDN", 400, 5),
    "ALD-T04": ("Tack welding in the jig", "ALD-FIT", 400, 5),
    "ALD-T05": ("Gap fitting and seam preparation", "ALD-FIT", 80, 5),
    "ALD-T06": ("Bracket welding", "ALD-BRKT", 430, 5),
    "ALD-T07": ("Bracket straightening", "ALD-BRKT", 40, 3),
    "ALD-T08": ("Plasma cutting of panels", "ALD-PLM", 360, 5),
    "ALD-T09": ("Clearing the cutting table", "ALD-PLM", 45, 1),
    "ALD-T10": ("Weld dressing by hand grinder", "ALD-GRD", 300, 5),
    "ALD-T11": ("Cut-off saw", "ALD-GRD", 440, 4),
    "ALD-T12": ("Window and door fitting", "ALD-ASM", 300, 5),
    "ALD-T13": ("Riveting of roof skins", "ALD-ASM", 120, 3),
    "ALD-T14": ("Extraction plant upkeep", "ALD-MNT", 180, 2),
    "ALD-T15": ("Repairs by stick welding", "ALD-MNT", 90, 2),
    "BRK-T01": ("Knock-out of castings", "BRK-KNO", 430, 5),
    "BRK-T02": ("Clearing the shake-out pit", "BRK-KNO", 60, 1),
    "BRK-T03": ("Hand grinding of castings", "BRK-FET", 440, 5),
    "BRK-T04": ("Chipping of runners", "BRK-FET", 60, 3),
    "BRK-T05": ("Core making", "BRK-CORE", 360, 5),
    "BRK-T06": ("Core sand mixing", "BRK-CORE", 90, 5),
    "BRK-T07": ("Moulding", "BRK-MOULD", 400, 5),
    "BRK-T08": ("Sand reclaim", "BRK-MOULD", 60, 2),
    "BRK-T09": ("Furnace charging", "BRK-MELT", 400, 4),
    "BRK-T10": ("Ladle relining", "BRK-MELT", 240, 1),
    "BRK-T11": ("Pouring of bearing shells", "BRK-BEAR", 300, 5),
    "BRK-T12": ("Turning of bearing shells", "BRK-BEAR", 120, 4),
    "COL-T01": ("Lead paint removal from cabin frames", "COL-STRIP", 300, 5),
    "COL-T02": ("Sweeping and bagging of paint chips", "COL-STRIP", 60, 5),
    "COL-T03": ("Stainless hanger repair welding", "COL-REP", 440, 5),
    "COL-T04": ("Crack gouging", "COL-REP", 40, 2),
    "COL-T05": ("Blast cabinet work", "COL-BLAST", 380, 5),
    "COL-T06": ("Grip rebuilding", "COL-GRIP", 420, 5),
    "COL-T07": ("Drop test of hangers", "COL-GRIP", 30, 2),
    "SKE-T01": ("Tower rigging", "SKE-RIG", 420, 4),
}

# code: title, kind, form, assigned protection factor, target reduction in per cent
CONTROLS = {
    "ALD-C01": ("On-torch extraction", "engineering", "extraction built into the torch", None, 80),
    "ALD-C02": ("Jig extraction arm, air returned to the hall", "engineering", "movable arm with filter unit", None, 50),
    "ALD-C03": ("Roof fans", "engineering", "dilution ventilation", None, None),
    "ALD-C04": ("Water table under the plasma cutter", "engineering", "water table", None, None),
    "ALD-C05": ("Cross-draught booth for brackets", "engineering", "open booth", None, 50),
    "ALD-C06": ("Filter unit F2 in the cutting duct", "engineering", "recirculating filter", None, None),
    "ALD-C07": ("Lined hood over the cut-off saw", "engineering", "sound-absorbing hood", None, None),
    "ALD-C08": ("Powered respirator hood", "respirator", "powered air, loose-fitting hood", 25, None),
    "BRK-C01": ("Core oven exhaust", "engineering", "slot exhaust", None, None),
    "BRK-C02": ("Ceiling canopy over the knock-out grid", "engineering", "high canopy", None, 50),
    "BRK-C03": ("Shrouded hand grinder with vacuum", "engineering", "tool shroud", None, 50),
    "BRK-C04": ("Wet sand reclaim", "engineering", "water spray", None, None),
    "BRK-C05": ("Slot hood at the bearing pot", "engineering", "slot hood", None, None),
    "BRK-C06": ("Half-mask respirator", "respirator", "elastomeric half mask", 10, None),
    "BRK-C07": ("Rotation at the furnace door", "administrative", "two-hourly rotation", None, None),
    "COL-C01": ("Vacuum-shrouded needle gun", "engineering", "tool shroud", None, 90),
    "COL-C02": ("Exhausted blast cabinet", "engineering", "enclosure", None, None),
    "COL-C03": ("Downdraught repair bench", "engineering", "downdraught bench", None, 50),
    "COL-C04": ("Supplied-air respirator", "respirator", "continuous flow, full facepiece", 1000, None),
    "COL-C05": ("Ear muffs", "other_protective_equipment", "muffs", None, None),
}

# task, control, from, to (first day no longer)
CONTROL_PERIODS = [
    ("ALD-T12", "ALD-C03", "2018-03-05", None),
    ("ALD-T08", "ALD-C04", "2019-04-01", None),
    ("ALD-T08", "ALD-C06", "2022-02-07", None),
    ("ALD-T01", "ALD-C01", "2024-09-02", None),
    ("ALD-T02", "ALD-C01", "2024-09-02", None),
    ("ALD-T11", "ALD-C07", "2024-03-04", None),
    ("ALD-T03", "ALD-C08", "2021-01-04", None),
    ("BRK-T05", "BRK-C01", "2017-05-01", None),
    ("BRK-T01", "BRK-C02", "2022-01-10", None),
    ("BRK-T01", "BRK-C06", "2020-11-02", None),
    ("BRK-T03", "BRK-C03", "2023-09-04", None),
    ("BRK-T08", "BRK-C04", "2021-06-01", None),
    ("BRK-T11", "BRK-C05", "2019-03-04", None),
    ("BRK-T09", "BRK-C07", "2023-01-09", "2024-01-08"),
    ("COL-T01", "COL-C01", "2025-05-05", None),
    ("COL-T01", "COL-C04", "2019-01-07", None),
    ("COL-T05", "COL-C02", "2018-06-04", None),
    ("COL-T06", "COL-C05", "2018-06-04", None),
]

# group, from, kind, description, whether it may raise exposure
CHANGES = [
    ("BRK-CORE", "2024-02-05", "material", "Core sand changed to a coarser, washed grade with less fines", False),
    ("ALD-PLM", "2025-01-13", "equipment", "Second cutting head on the plasma table", True),
]

# group, agent, kind, from, source
CONDITIONS = [
    ("COL-STRIP", "lead", "respirator_required", "2019-01-07", "written lead programme, section 4"),
    ("COL-STRIP", "lead", "regulated_area", "2019-01-07", "written lead programme, section 3"),
    ("BRK-KNO", "silica_respirable", "respirator_required", "2020-11-02", "written silica plan, section 2"),
    ("ALD-WELDN", "chromium_vi", "respirator_required", "2021-01-04", "welding instruction WI-07"),
]

HOLIDAYS = [("01-01", "New Year's Day"), ("07-04", "Independence Day"), ("12-25", "Christmas Day")]


def site_of(code):
    """The site of a group, task or control, by its code."""
    return code.split("-")[0]


def controls_running(group, on):
    """Controls of a group's tasks in place on a date, respirators and other protective equipment apart."""
    worn = ("respirator", "other_protective_equipment")
    return sorted({
        control
        for task, control, start, end in CONTROL_PERIODS
        if TASKS[task][1] == group and CONTROLS[control][1] not in worn
        and start <= on.isoformat() and (end is None or on.isoformat() < end)
    })

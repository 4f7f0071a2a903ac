"""Reports that were put right: a forgotten dilution revised, a filter analysed again."""

from datetime import timedelta

from .methods import HOLLIN, PENNYROYAL

REVISED = "ALD-2023-A"
REANALYSED = "COL-2024-A"


def forget_a_dilution(event):
    """Makes the laboratory report a tenth of what two filters held; returns the filters."""
    wronged = [f for f in event.filters if not f.blank and "chromium_vi" in f.micrograms and f.micrograms["chromium_vi"] > 2][:2]
    for caught in wronged:
        caught.changes["chromium_vi"] = {"value": f"{caught.micrograms['chromium_vi'] / 10:.3f}"}
    return wronged


def revise(laboratory, file, event, sent, wronged):
    """Revision 1 of the report, with the rows it replaces."""
    name, number, received = next(told for told in sent if told[0] == HOLLIN)
    analysed = received + timedelta(days=6)
    rows = [laboratory.row(name, caught, "chromium_vi", analysed, replaces="revised") for caught in wronged]
    laboratory.send(file, event.site, name, number, received + timedelta(days=9), rows, revision=1)


def analyse_again(laboratory, file, event, sent):
    """One lead filter once more; the first result stands until somebody chooses."""
    name, number, received = next(told for told in sent if told[0] == PENNYROYAL)
    caught = next(f for f in event.filters if not f.blank and "lead" in f.micrograms)
    row = laboratory.row(name, caught, "lead", received + timedelta(days=12), replaces="reanalysed")
    row["value"] = f"{float(row['value']) * 0.93:.3g}"
    laboratory.send(file, event.site, name, number, received + timedelta(days=15), [row], revision=1)

"""What comes to the offices in the last year: requests for records, and the physician's grounds."""

from .ledger import at

FILE = "17-offices.jsonl"
REQUESTS = (
    ("QR-1202", "2026-10-05", "worker", "Everything you have on my welding fumes, before I move to another plant."),
    ("QR-1060", "2026-11-19", "representative", "Silica results of the last two years, on behalf of the member named."),
)
GROUNDS = (
    ("QR-1010", "signs_or_symptoms", "2026-09-21", "chromium_vi"),
    ("QR-1053", "recommendation", "2026-10-14", "silica_respirable"),
    ("QR-1078", "blood_lead", "2026-11-16", "lead"),
)


def requests_and_grounds(ledger):
    """Two requests, one of them long enough ago to be answered; three grounds, dates without findings."""
    for number, received, asked_by, what in REQUESTS:
        body = {"received_on": received, "from": asked_by, "what": what}
        ledger.step(FILE, "coordinator", f"/workers/{at('worker:' + number)}/record-requests", body)
    for number, kind, on, agent in GROUNDS:
        body = {"kind": kind, "on": on, "agent_code": agent}
        ledger.step(FILE, "physician", f"/workers/{at('worker:' + number)}/medical-grounds", body)

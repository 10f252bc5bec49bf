"""A shop with one of everything that an export must carry, and all that it holds for comparing."""

from datetime import UTC, datetime, timedelta
from typing import Any

from instruments.models import Instrument, JointKind, NeckJoint
from measurements.acts import record_check_in, record_work, void
from measurements.models import ActionReading, CheckIn, Outlook, Stage, Work, WorkKind
from shop.models import Customer, User
from tests.factories import CheckInFactory, CustomerFactory, InstrumentFactory

MOMENT = datetime(2024, 3, 18, 14, 30, 5, 123456, tzinfo=UTC)
#: Texts that a spreadsheet would run, lose or change, each of which must come back as it was.
HOSTILE = [
    '=HYPERLINK("x","y")',
    "+1",
    "-2.5",
    "@SUM(A1)",
    "＝1+1",
    "\tx",
    "'=1",
    "''-1",
    "'quoted",
    " =1 ",
    "0012",
    "1e5",
    "2024-03-18",
    "TRUE",
    'a,b;"c"\r\nd\n\n',
    "\u202eevil\u2066",
    "_x0041_ _x005F_",
    "bell\x07 and \x7f",
    "😀 é e\u0301",
]


def fill(by: User) -> None:
    """One of everything, through the acts where there is an act for it."""
    customers = [
        CustomerFactory(name=text[:120].replace("\n", " "), address=text, notes=text)
        for text in HOSTILE
    ]
    for n, customer in enumerate(customers):
        InstrumentFactory(tag=f"H-{n}", customer=customer, maker=HOSTILE[n], notes=HOSTILE[n])
    InstrumentFactory(
        tag="Bare",
        customer=None,
        joint=None,
        built_year=None,
        set_frets=[1, 5, 12],
        strings="nylon",
    )
    tilting = InstrumentFactory(
        tag="K7",
        scale_length_mm=645.2000000000001,
        compensation_mm=-0.1 - 0.2,
        fretboard_radius_mm=0,
        joint__tilting=True,
        joint__kind=JointKind.TILTING,
        joint__shims_mm=[0.25, 0.5],
        joint__lowering_turn="anticlockwise",
        joint__one_way=False,
    )
    _facts(tilting, by)


def _facts(instrument: Instrument, by: User) -> None:
    first = record_check_in(
        instrument=instrument,
        measured_at=MOMENT,
        by=by,
        stage=Stage.RECEIVED,
        actions_mm={(1, "bass"): 0.1 + 0.2, (7, "treble"): 1.984375, (36, "bass"): 3.1},
        relief_mm=-0.0,
        bridge_rise_mm=-0.30000000000000004,
        saddle_bass_mm=2.38125,
        margin_treble_mm=1e-9,
        humidity_pct=47.3,
        temperature_c=-5.55,
        at_pitch=False,
        gauge="=cmd",
        relief_press="1-last",
        repeats_mm={"bridge_rise": [0.1, 0.30000000000000004]},
        bridge_rise_count=2,
        bridge_rise_spread_mm=0.1414213562373095,
        as_typed={"unit": "in", "bridge_rise": '−0.012"'},
        notes="-0.3 is what it was\r\nand more",
    )
    record_check_in(
        instrument=instrument,
        measured_at=MOMENT + timedelta(microseconds=1),
        by=by,
        stage=Stage.RETURNED,
        actions_mm={},
        replaces=first,
        reason="=typed wrongly",
        bridge_rise_mm=0.3,
    )
    for n, facts in enumerate(WORKS):
        kind = facts.pop("kind") if "kind" in facts else WorkKind.OTHER
        facts["kind"] = kind
        shown = {name: value for name, value in facts.items() if name != "kind"}
        record_work(
            instrument=instrument, kind=kind, done_at=MOMENT + timedelta(days=n), by=by, **shown
        )
    void(Work.objects.get(kind=WorkKind.SADDLE), by=by, reason="'+twice")
    CheckInFactory(instrument=instrument, measured_by=None)


WORKS: list[dict[str, Any]] = [
    {"kind": WorkKind.JOINT, "turns": 0.75, "tilt_to_deg": 0.6138937581398735},
    {"kind": WorkKind.SADDLE, "saddle_bass_from_mm": 3.0, "saddle_bass_to_mm": 2.6},
    {"kind": WorkKind.RELIEF, "relief_to_mm": 0.2},
    {"kind": WorkKind.NUT, "nut_bass_to_mm": 0.5, "nut_treble_to_mm": 0.35},
    {"kind": WorkKind.RESET, "wedge_mm": 0.94, "new_origin": True, "notes": "@home"},
    {"kind": WorkKind.OTHER, "notes": "cleaned", "as_typed": {"unit": "mm"}},
]

KEYS = {"id", "imported_in_id", "version"}


def contents() -> dict[str, list[dict[str, Any]]]:
    """All that an export carries, without the database's own keys."""
    tags = dict(Instrument.objects.values_list("pk", "tag"))
    codes = dict(Customer.objects.values_list("pk", "code"))
    uuids = dict(CheckIn.objects.values_list("pk", "uuid"))
    people = dict(User.objects.values_list("pk", "username"))
    named = {
        "instrument_id": tags,
        "customer_id": codes,
        "check_in_id": uuids,
        "replaces_id": uuids,
        "measured_by_id": people,
        "done_by_id": people,
        "voided_by_id": people,
    }

    def row(values: dict[str, Any]) -> dict[str, Any]:
        return {
            name: named[name].get(value) if name in named else value
            for name, value in values.items()
            if name not in KEYS
        }

    models = (Customer, Instrument, NeckJoint, CheckIn, ActionReading, Work)
    return {
        model.__name__: sorted((row(values) for values in model.objects.values()), key=repr)
        for model in models
    }


def empty_the_shop() -> None:
    """As a new shop is, but for its people."""
    Work.objects.all().delete()
    ActionReading.objects.all().delete()
    CheckIn.objects.update(replaces=None)
    CheckIn.objects.all().delete()
    Outlook.objects.all().delete()
    NeckJoint.objects.all().delete()
    Instrument.objects.all().delete()
    Customer.objects.all().delete()

"""A shop's log, and the import command run on it."""

from datetime import UTC, datetime
from io import StringIO

from django.core.management import CommandError, call_command

NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
LOG = """\
tag,customer,checked_in_on,stage,bridge_rise_mm,saddle_bass_mm,saddle_treble_mm,relief_mm,action_1_bass_mm,\
action_1_treble_mm,action_12_bass_mm,action_12_treble_mm,humidity_pct,temperature_c,built_year,strings,\
scale_length_mm,joint_kind,bolt_arm_mm,thread_pitch_mm,tilt_now_deg,tilt_max_deg,turns,notes
K7,Ines Marlow,2015-03-04,received,0.6,3.2,2.8,0.2,0.5,0.35,2.9,2.3,50,21,1998,steel,645.2,tilting,\
70,1.0,0,2,0.75,
K7,Ines Marlow,2015-03-04,returned,-1.4,3.2,2.8,0.2,0.5,0.35,1.9,1.3,50,21,,,,,,,,,,turned
K7,Ines Marlow,2019-09-10,received,0.1,3.2,2.8,0.2,0.5,0.35,2.6,2.0,44,20,,,,,,,,,0.25,
B2,Osric Penn,2018-05-05,received,0.3,2.6,2.2,0.15,0.5,0.35,2.4,1.8,47,20,,nylon,650,,,,,,,
"""


def run(tmp_path, text, *options):
    """Run the command; returns its output, its errors and whether it failed, with the failure's text."""
    file = tmp_path / "log.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return run_on(str(file), *options)


def run_on(name, *options):
    out, err, failure = StringIO(), StringIO(), ""
    try:
        call_command("import_readings", name, *options, stdout=out, stderr=err)
    except CommandError as error:
        failure = str(error)
    return out.getvalue(), err.getvalue(), failure


def rows(cells, **more):
    """A file of one row for tag K7 on a good day."""
    named = {"tag": "K7", "checked_in_on": "2020-02-03", **cells, **more}
    return (
        ",".join(named)
        + "\n"
        + ",".join(f'"{v}"' if "," in v else v for v in named.values())
        + "\n"
    )

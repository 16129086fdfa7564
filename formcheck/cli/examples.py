"""Two examples of each command, which its help opens with: what to type, and what it does."""

from __future__ import annotations

EXAMPLES: dict[str, tuple[tuple[str, str], tuple[str, str]]] = {
    "": (
        ("formcheck demo", "the sample set, judged; its page opens"),
        ("formcheck set side.mp4", "your own set"),
    ),
    "demo": (
        ("formcheck demo", "judge it and open the page"),
        ("formcheck demo --no-open --out first", "only write the report"),
    ),
    "set": (
        ("formcheck set side.mp4 --tempo 2-1-X-1", "one view, and what was asked"),
        ("formcheck set side.mp4 front.mp4 --person ana", "two views, into Ana's log"),
    ),
    "batch": (
        ("formcheck batch clips/ --out reports/", "every set in a folder"),
        ("formcheck batch clips/ --roster roster.csv --watch", "with who is who, as clips come"),
    ),
    "desk": (
        ("formcheck desk", "a page to drop clips on"),
        ("formcheck desk --network", "from phones in the same network too"),
    ),
    "agree": (
        ("formcheck agree labels.csv reports/", "your verdicts beside the measurements"),
        ("formcheck agree labels.csv reports/ --prefer balanced", "other limits suggested"),
    ),
    "again": (
        ("formcheck again reports/ --limits strict", "who would be judged otherwise?"),
        ("formcheck again reports/ --tempo 3-1-X-1 --write", "and write the reports anew"),
    ),
    "limits": (
        ("formcheck limits > mine.toml", "a file to change"),
        ("formcheck limits --limits strict --changed", "what a set of limits changes"),
    ),
    "limits check": (
        ("formcheck limits check mine.toml", "is it right?"),
        ("formcheck limits check strict", "a set that ships"),
    ),
    "limits sets": (
        ("formcheck limits sets", "what ships"),
        ("formcheck set side.mp4 --limits beginner", "judge by one of them"),
    ),
    "log": (
        ("formcheck log show --person ana", "her sets, oldest first"),
        ("formcheck log trend --person ana", "what changed, and what is measuring error"),
    ),
    "log show": (
        ("formcheck log show", "everyone's sets"),
        ("formcheck log show --person ana --since 2026-09-01", "hers since September"),
    ),
    "log trend": (
        ("formcheck log trend --person ana", "her weeks"),
        (
            'formcheck log trend --person ana --variation "push-up on the knees"',
            "of one variation",
        ),
    ),
    "log page": (
        ("formcheck log page --person ana", "one page, to print"),
        ("formcheck log page --person ana --out ana.html", "under another name"),
    ),
    "log rebuild": (
        ("formcheck log rebuild reports/", "enter every report again"),
        ("formcheck log rebuild old/ --person ana", "reports that name nobody are Ana's"),
    ),
    "log export": (
        ("formcheck log export all.jsonl", "everything"),
        ("formcheck log export ana.csv --person ana", "hers, for a spreadsheet"),
    ),
    "log import": (
        ("formcheck log import all.jsonl", "bring it in"),
        ("formcheck log import ana.csv --log other.sqlite", "into another log"),
    ),
    "log schema": (
        ("formcheck log schema", "what each field means"),
        ("formcheck log schema > log.schema.json", "into a file"),
    ),
    "log restore": (
        ("formcheck log restore", "when the log is damaged"),
        ("formcheck log restore --log other.sqlite", "another log"),
    ),
    "person": (
        ("formcheck person set ana --stature 168 --body-mass 61", "speeds in m/s, loads in kg"),
        ("formcheck person show", "everyone"),
    ),
    "person show": (
        ("formcheck person show", "everyone"),
        ("formcheck person show ana", "one person"),
    ),
    "person set": (
        ("formcheck person set ana --stature 168 --body-mass 61", "cm and kg"),
        ('formcheck person set ana --body-mass "134 lb" --on 2026-09-01', "weighed that day"),
    ),
    "person calibrate": (
        ("formcheck person calibrate ana hold.mp4", "from a straight hold, filmed from the side"),
        ("formcheck person calibrate ana hold.mp4 --model full", "with the faster model"),
    ),
    "person erase": (
        ("formcheck person erase ana", "asks first"),
        ("formcheck person erase ana --yes", "does not ask"),
    ),
}

"""``formcheck person``: what the log knows of the people who train."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

import typer

from formcheck.asked.prescription import Support
from formcheck.asked.units import UnitsError, length_m, mass_kg
from formcheck.cli.asked import ModelOption
from formcheck.cli.help import App
from formcheck.cli.log import LogFile, when
from formcheck.cli.progress import progress_bar
from formcheck.errors import FormcheckError
from formcheck.log.person import PersonRecord, person_name
from formcheck.pose.model import DEFAULT_MODEL

Name = Annotated[str, typer.Argument(metavar="NAME", help="The person.", show_default=False)]
_STATURE_M, _ARM_M, _MASS_KG = (0.5, 2.6), (0.1, 0.6), (10.0, 400.0)

app = App(no_args_is_help=True)


class EraseError(FormcheckError):
    """Not everything of a person could be removed."""


@app.callback()
def person() -> None:
    """The people in the training log: their measures, and their own straight line."""


@app.command()
def show(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="The person. Default: everyone.")
    ] = None,
    log: LogFile = None,
) -> None:
    """Show what is known of a person."""
    from formcheck.log.store import default_log, find_person, open_log, people, sets_of

    with open_log(log or default_log()) as opened:
        for one in [find_person(opened, name)] if name else people(opened):
            sets = sets_of(opened, one.name)
            print(f"{one.name}: {len(sets)} set{'' if len(sets) == 1 else 's'}")
            if one.sex:
                print(f"  {one.sex}")
            if one.stature_m:
                print(f"  stature {100 * one.stature_m:.0f} cm")
            for on_date, kg in one.body_mass:
                print(f"  body mass {kg:.1f} kg, {on_date}")
            if one.upper_arm_m:
                print(f"  upper arm {100 * one.upper_arm_m:.1f} cm")
            if one.forearm_m:
                print(f"  forearm {100 * one.forearm_m:.1f} cm")
            if one.hip_offset:
                hip = one.hip_offset
                print(
                    f"  own straight line from {hip.clip}, {hip.on_date}: hip landmark "
                    f"{100 * hip.share:.1f} ± {100 * hip.plus_minus:.1f} % of the trunk in front"
                )


@app.command("set")
def set_(
    name: Name,
    stature: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Body height: 178, 1.78 m, 5 ft 10 in.")
    ] = None,
    body_mass: Annotated[
        str | None, typer.Option(metavar="MASS", help="Body mass: 82, 82 kg, 180 lb.")
    ] = None,
    on: Annotated[
        str | None, typer.Option(metavar="DATE", help="Day of the body mass. Default: today.")
    ] = None,
    upper_arm: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help="By a tape, from the bony edge of the shoulder to the elbow's outer knob: 33 cm.",
        ),
    ] = None,
    forearm: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH", help="From the elbow's outer knob to the wrist's thumb side: 26 cm."
        ),
    ] = None,
    sex: Annotated[
        Literal["female", "male"] | None, typer.Option(help="For body segment masses.")
    ] = None,
    log: LogFile = None,
) -> None:
    """Tell the log of a person; what is not given stays as it is. A bare number is cm or kg."""
    from formcheck.log.store import changing, default_log, keep_copy, open_log, people, put_person

    day = when(on).date() if on else date.today()
    told = {
        "stature_m": _length(stature, "--stature", _STATURE_M),
        "upper_arm_m": _length(upper_arm, "--upper-arm", _ARM_M),
        "forearm_m": _length(forearm, "--forearm", _ARM_M),
        "sex": sex,
    }
    kg = _mass(body_mass)
    path = log or default_log()
    name = person_name(name)
    with open_log(path, write=True) as opened:
        with changing(opened, path):
            known = {one.name.casefold(): one for one in people(opened)}
            before = known.get(name.casefold()) or PersonRecord(name)
            masses = dict(before.body_mass) | ({day.isoformat(): kg} if kg else {})
            new = {key: value for key, value in told.items() if value is not None}
            put_person(
                opened,
                replace(before, **new, body_mass=tuple(sorted(masses.items()))),  # type: ignore[arg-type]
            )
        keep_copy(opened, path)
    show(name, log)


@app.command()
def calibrate(
    name: Name,
    clip: Annotated[
        Path,
        typer.Argument(
            help="A hold of five seconds or more on straight arms, from the side; or its pose."
        ),
    ],
    support: Annotated[Support | None, typer.Option(help="On toes or knees, if not seen.")] = None,
    model: ModelOption = DEFAULT_MODEL,
    log: LogFile = None,
) -> None:
    """Learn a person's own straight line from a hold that somebody checked with a stick.

    Top position, arms straight, filmed square from the side, from where the sets are filmed.
    Somebody lays a stick along the back: it touches the back of the head, the upper back and the
    tailbone, all three. Then they step out of the picture and the hold is kept for five seconds.
    From then on it is weighed in the body line of this person, which has a little smaller ±. From
    another place it helps nothing: where the camera stands changes the line by more than bodies
    differ.
    """
    from formcheck.log.calibrate import calibrated
    from formcheck.log.store import changing, default_log, keep_copy, open_log, people, put_person

    path = log or default_log()
    name = person_name(name)
    with open_log(path, write=True) as opened:
        with progress_bar() as on_progress:
            found = calibrated(clip, support, model, on_progress)
        with changing(opened, path):
            known = {one.name.casefold(): one for one in people(opened)}
            before = known.get(name.casefold()) or PersonRecord(name)
            put_person(opened, replace(before, hip_offset=found.hold))
        keep_copy(opened, path)
    print(
        f"{name}'s straight line read {found.reading_deg:+.1f}° here; it is weighed in from now on."
    )
    print(
        f"A moment's body line: ± {found.before_deg:.1f}° without this, "
        f"± {found.after_deg:.1f}° from now on."
    )


@app.command()
def erase(
    name: Name,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    log: LogFile = None,
) -> None:
    """Erase a person: their entries, measures, and the reports of their sets.

    Removes what formcheck made in the folders of their reports, and the poses found in their
    clips. The clips themselves, and other files in those folders, stay.
    """
    from formcheck.log.erase import remove_reports
    from formcheck.log.store import default_log, erase_person, find_person, open_log, sets_of

    path = log or default_log()
    with open_log(path, write=True) as opened:
        whose = find_person(opened, name).name
        sets = sets_of(opened, whose)
        folders = sorted({one.folder for one in sets})
        print(f"{whose}: {len(sets)} sets, with the reports in {len(folders)} folders:")
        for folder in folders:
            print(f"  {folder}")
        if not yes:
            typer.confirm("Erase all of this?", abort=True)
        left = remove_reports(sets)
        erase_person(opened, path, whose)
    print(f"{whose} is erased.")
    if left:
        raise EraseError(
            f"these could not be removed, remove them yourself: {', '.join(map(str, left))}."
        )


def _length(text: str | None, option: str, bounds: tuple[float, float]) -> float | None:
    if text is None:
        return None
    try:
        metres = length_m(text)
    except UnitsError as error:
        raise typer.BadParameter(str(error), param_hint=option) from error
    low, high = bounds
    if not low <= metres <= high:
        raise typer.BadParameter(
            f"“{text}” is {100 * metres:.0f} cm; {100 * low:.0f} to {100 * high:.0f} cm is likely.",
            param_hint=option,
        )
    return metres


def _mass(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        kg = mass_kg(text)
    except UnitsError as error:
        raise typer.BadParameter(str(error), param_hint="--body-mass") from error
    low, high = _MASS_KG
    if not low <= kg <= high:
        raise typer.BadParameter(
            f"“{text}” is {kg:.0f} kg; {low:.0f} to {high:.0f} kg is likely.",
            param_hint="--body-mass",
        )
    return kg

"""The shop's own settings: option, then environment, then file, then default.

One TOML file in the platform's configuration folder; every value can say where it came from.
Imports stay light, because every command asks here.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from recommend.atomic import held, write_atomically
from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, nearest
from recommend.extras import shipped_folder

FILE_VARIABLE = "RECOMMEND_SETTINGS"


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: its name in the file, its environment variable, what it is for.

    `allowed` are the words it may have; empty means a path, or free text. A `many` setting is
    a list in the file, and is separated like a search path in the environment.
    """

    name: str
    variable: str
    help: str
    allowed: tuple[str, ...] = ()
    path: bool = False
    many: bool = False


@dataclass(frozen=True, slots=True)
class Value:
    """What a setting is (None: nothing was given, and there is no default), and why."""

    setting: Setting
    value: Any
    origin: str


SIZE_SYSTEMS = ("mondopoint", "eu", "uk", "us-men", "us-women")
ENGINES = ("durable-rules", "numpy")
ZERO_REFERENCES = ("vertical", "relaxed-standing", "subtalar-neutral")

SETTINGS: dict[str, Setting] = {
    one.name: one
    for one in (
        Setting(
            "catalogue", "RECOMMEND_CATALOGUE", "folders of products, the later over the earlier",
            path=True, many=True,
        ),
        Setting("rulebook", "RECOMMEND_RULEBOOK", "folder of rules", path=True),
        Setting("records", "RECOMMEND_STORE", "file of kept records", path=True),
        Setting("keep", "RECOMMEND_KEEP", "whether every shortlist is kept", ("yes", "no")),
        Setting(
            "witnesses", "RECOMMEND_WITNESSES", "files elsewhere that say each day's last record",
            path=True, many=True,
        ),
        Setting(
            "page-witness", "RECOMMEND_PAGE_WITNESS",
            "whether the customer's page bears the last record's hash", ("yes", "no"),
        ),
        Setting("visits", "RECOMMEND_VISITS", "folder of visit files and drafts", path=True),
        Setting("stock", "RECOMMEND_STOCK", "CSV file with stock levels of today", path=True),
        Setting("sizes", "RECOMMEND_SIZES", "size system to ask for and show", SIZE_SYSTEMS),
        Setting("language", "RECOMMEND_LANGUAGE", "language of what the customer is given"),
        Setting("shop", "RECOMMEND_SHOP", "the shop's name, for what the customer is given"),
        Setting("fitter", "RECOMMEND_FITTER", "code of the fitter at this computer, never a name"),
        Setting(
            "readings", "RECOMMEND_READINGS", "readings that the shop takes; none named: all",
            ("posture", "heights", "captures", "footprint", "angles", "load-path"), many=True,
        ),
        Setting(
            "feet", "RECOMMEND_FEET", "whether left and right are asked side by side",
            ("side-by-side", "one-by-one"),
        ),
        Setting(
            "measured-from", "RECOMMEND_MEASURED_FROM",
            "what rearfoot angles are usually measured from", ZERO_REFERENCES,
        ),
        Setting(
            "raters", "RECOMMEND_RATERS", "whether one person scores posture here, or several",
            ("one", "several"),
        ),
        Setting(
            "engine", "RECOMMEND_ENGINE", "what concludes a visit; else durable-rules where it is",
            ENGINES,
        ),
    )
}  # fmt: skip


def settings_file() -> Path:
    """The settings file: ``RECOMMEND_SETTINGS``, else in the platform's configuration folder."""
    if named := os.environ.get(FILE_VARIABLE):
        return Path(named).expanduser()
    from platformdirs import user_config_path  # only here: it costs a few milliseconds

    return user_config_path("recommend", appauthor=False) / "settings.toml"


def setting(name: str, option: Any = None) -> Value:
    """The value of a setting, and where it came from.

    Raises
    ------
    InputError
        If the file cannot be read, or the value that counts is not allowed.
    """
    one = SETTINGS[name]
    if option:
        return Value(one, _checked(one, option, Place(f"--{name}")), "option")
    if from_environment := os.environ.get(one.variable):
        given: Any = from_environment.split(os.pathsep) if one.many else from_environment
        return Value(one, _checked(one, given, Place(one.variable)), f"environment {one.variable}")
    file = settings_file()
    written = read_settings(file)
    if name in written:
        return Value(one, written[name], f"file {file}")
    return Value(one, _default(one), "default")


def lab_errors() -> dict[str, dict[str, float]]:
    """Errors of measurement of this lab, by measure: ``single`` and ``floor`` in its unit."""
    tables: dict[str, dict[str, Any]] = read_settings(settings_file()).get("errors", {})
    return {
        measure: {key: float(number) for key, number in table.items() if key != "note"}
        for measure, table in tables.items()
    }


def read_settings(file: Path) -> dict[str, Any]:
    """All that stands in a settings file, checked; nothing when there is no file.

    Raises
    ------
    InputError
        If it is not TOML, holds a key that is not known or a value that is not allowed.
    """
    try:
        stamp = file.stat().st_mtime_ns
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise InputError(Place(str(file)), f"cannot be read ({error.strerror})") from error
    return _read(file, stamp)


@lru_cache(maxsize=2)
def _read(file: Path, _stamp: int) -> dict[str, Any]:
    import tomllib  # only here: without a file neither is needed

    from recommend.reading.document import read_text

    try:
        text = read_text(file)
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(
            Place(str(file)), f"the settings are not TOML ({error})", mend="run `recommend setup`"
        ) from error
    read = {key: _entry(key, value, _place(file, text, key)) for key, value in data.items()}
    return {key: _from_folder(key, value, file.parent) for key, value in read.items()}


def _from_folder(key: str, value: Any, folder: Path) -> Any:
    """A path that is written without its beginning counts from the folder of the settings."""
    if key not in SETTINGS or not SETTINGS[key].path:
        return value
    return [folder / one for one in value] if isinstance(value, list) else folder / value


def _entry(key: str, value: Any, place: Place) -> Any:
    if key == "errors":
        return _errors(value, place)
    if key not in SETTINGS:
        known = (*SETTINGS, "errors")
        raise InputError(place, f"`{key}` is not a setting", ", ".join(known), nearest(key, known))
    return _checked(SETTINGS[key], value, place)


def _place(file: Path, text: str, key: str) -> Place:
    lines = text.splitlines()
    starts = (n for n, line in enumerate(lines, 1) if line.lstrip(" [\"'").startswith(key))
    return Place(str(file), next(starts, 0))


def _checked(one: Setting, value: Any, place: Place) -> Any:
    values = value if one.many and isinstance(value, (list, tuple)) else [value]
    for single in values:
        if not isinstance(single, (str, Path)) or not str(single):
            raise InputError(place, f"`{one.name}` is `{single}`", "text in quotes")
        if one.allowed and str(single) not in one.allowed:
            hint = nearest(str(single), one.allowed)
            raise InputError(place, f"`{one.name}` is `{single}`", ", ".join(one.allowed), hint)
    made = [Path(v).expanduser() if one.path else str(v) for v in values]
    return made if one.many else made[0]


def _errors(value: Any, place: Place) -> dict[str, dict[str, Any]]:
    allowed = (
        "a table for each measure, with `single` and if needed `floor`, numbers from 0, and "
        "`resemblance`, a number from 0 to 0.95"
    )
    if not isinstance(value, dict):
        raise InputError(place, "`errors` is not a table", allowed)
    most = {"single": 1e6, "floor": 1e6, "resemblance": 0.95}
    for measure, table in value.items():
        numbers = dict(table) if isinstance(table, dict) else {}
        numbers.pop("note", None)
        if not numbers or not all(
            key in most and _is_error(number) and number <= most[key]
            for key, number in numbers.items()
        ):
            raise InputError(place, f"`errors.{measure}` is `{table}`", allowed)
    return value


def _is_error(number: Any) -> bool:
    # A comparison with NaN is false, so this also keeps NaN and infinity out.
    return isinstance(number, (int, float)) and not isinstance(number, bool) and 0 <= number < 1e6


def _default(one: Setting) -> Any:
    simple: dict[str, Any] = {
        "keep": "no",
        "sizes": "eu",
        "language": "en",
        "measured-from": "vertical",
        "raters": "one",
        "feet": "side-by-side",
        "readings": [],
        "witnesses": [],
        "page-witness": "no",
    }
    if one.name in simple:
        return simple[one.name]
    if one.name in ("rulebook", "catalogue"):
        rules = one.name == "rulebook"
        return shipped_folder("rules") if rules else [shipped_folder("catalogue_demo")]
    if one.name in ("records", "visits"):
        from platformdirs import user_data_path

        folder = user_data_path("recommend", appauthor=False)
        return folder / ("records.sqlite" if one.name == "records" else "visits")
    return None


def write_settings(
    values: Mapping[str, Any], errors: Mapping[str, Mapping[str, Any]] | None = None
) -> Path:
    """Change the settings file; what is not changed stays as it was written, comments included.

    Parameters
    ----------
    values : by setting, its new value (text, or a list of it), or None to take it out.
    errors : by measure, the table that replaces its table under ``errors``.

    Returns
    -------
    The file.

    Raises
    ------
    InputError
        If the file that is there is not TOML, or it cannot be written.
    """
    file = settings_file()
    with held(file):
        read_settings(file)  # says where it is wrong
        there = file.read_text("utf-8") if file.exists() else _HEAD
        write_atomically(file, changed_settings(there, values, errors or {}))
    return file


_HEAD = "# Settings of this shop. `recommend setup show` says where each value comes from.\n"


def changed_settings(
    text: str, values: Mapping[str, Any], errors: Mapping[str, Mapping[str, Any]]
) -> str:
    """The text of settings with `values` and `errors` changed, as `write_settings` does."""
    import tomlkit  # only here: most commands only read

    document = tomlkit.parse(text)
    for name, value in values.items():
        if value is None:
            document.pop(name, None)
        else:
            document[name] = value
    if errors and "errors" not in document:
        document["errors"] = tomlkit.table(is_super_table=True)
    for measure, table in errors.items():
        document["errors"][measure] = dict(table)
    return tomlkit.dumps(document)

"""What is wrong with a command line, as the one sentence that every other error is."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from recommend.errors import InputError, Place, nearest

_TYPED = Place("the command line")
_NUMBERS: dict[Any, str] = {int: "a whole number", float: "a number"}


def usage_error(error: Any) -> InputError:
    """The sentence for what the option parser refused.

    Parameters
    ----------
    error : a usage error of the parser that typer brings along. Its classes are private, so they
        are told apart by name; one that is not known keeps the parser's own words.
    """
    worded = _BY_NAME.get(type(error).__name__, _other)
    return worded(error, _command(error.ctx))


def _command(context: Any) -> str:
    """The command as it is typed: ``recommend visit edit``."""
    names: list[str] = []
    while context is not None and context.parent is not None:
        names.insert(0, context.info_name)
        context = context.parent
    return " ".join(["recommend", *names])


def _help(command: str) -> str:
    return f"see `{command} --help`"


def _no_option(error: Any, command: str) -> InputError:
    known = [name for param in error.ctx.command.get_params(error.ctx) for name in param.opts]
    return InputError(
        _TYPED,
        f"`{command}` has no option `{error.option_name}`",
        mend=nearest(error.option_name, known) or _help(command),
    )


def _missing(error: Any, command: str) -> InputError:
    explained = str(getattr(error.param, "help", None) or "").rstrip(".")
    return InputError(
        _TYPED,
        f"`{command}` needs {_name(error.param)}{f' ({explained})' if explained else ''}",
        mend=_help(command),
    )


def _name(param: Any) -> str:
    """An option as it is typed, or an argument as the help shows it."""
    if param.param_type_name == "option":
        return f"`{max(param.opts, key=len)}`"
    return str(param.metavar or param.name).strip("[].").upper()


def _bad_value(error: Any, command: str) -> InputError:
    if error.param is None:
        return _other(error, command)
    said = error.message.removeprefix("Value error, ").rstrip(".").replace("'", "`")
    found = f"the value of {_name(error.param)} cannot be used"
    allowed = _range(error.param)
    if not allowed:
        found += f": {re.sub('^Input should be', 'it should be', said)}"
    return InputError(_TYPED, found, allowed, _help(command))


def _range(param: Any) -> str:
    """The numbers that `param` takes; empty when it takes something else."""
    what = _NUMBERS.get(getattr(getattr(param, "type_descriptor", None), "annotation", None), "")
    low, high = getattr(param, "min", None), getattr(param, "max", None)
    if not what or (low is None and high is None):
        return what
    if high is None:
        return f"{what} of at least {low:g}"
    return f"{what} up to {high:g}" if low is None else f"{what} from {low:g} to {high:g}"


def _option_use(error: Any, command: str) -> InputError:
    needs = "requires" in error.message
    found = f"`{error.option_name}` {'needs a value' if needs else 'takes no value'}"
    return InputError(_TYPED, found, mend=_help(command) if error.ctx else "")


def _other(error: Any, command: str) -> InputError:
    """What the parser tells only in words: a command that is not there, arguments too many."""
    unknown = re.match(r"No such command '(.*?)'", error.message)
    if unknown and error.ctx is not None:
        known = error.ctx.command.list_commands(error.ctx)
        found = f"`{command}` has no command `{unknown[1]}`"
        near = nearest(unknown[1], known)
        return InputError(_TYPED, found, "" if near else ", ".join(known), near)
    extra = re.match(r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)", error.message)
    if extra:
        found = f"`{command}` has no use for `{extra[1]}`"
        return InputError(
            _TYPED, found, mend=f"put one value that holds spaces in quotes, or {_help(command)}"
        )
    return InputError(_TYPED, error.format_message().rstrip("."), mend=_help(command))


_BY_NAME: dict[str, Callable[[Any, str], InputError]] = {
    "NoSuchOption": _no_option,
    "MissingParameter": _missing,
    "BadParameter": _bad_value,
    "BadOptionUsage": _option_use,
}

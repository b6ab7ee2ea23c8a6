"""Completion of commands and options in bash, zsh and fish, made from the parser itself."""

from __future__ import annotations

import argparse

SHELLS = ("bash", "zsh", "fish")

Commands = dict[str, tuple[str, list[str]]]
"""Name → (what it does, its options)."""


def script(parser: argparse.ArgumentParser, shell: str) -> str:
    """Text that the shell reads; see the help of ``completion`` for where it goes."""
    commands = commands_of(parser)
    return {"bash": _bash, "zsh": _zsh, "fish": _fish}[shell](commands)


def commands_of(parser: argparse.ArgumentParser) -> Commands:
    """Commands and their options, as they stand in the parser."""
    (choice,) = (a for a in parser._actions if isinstance(a, argparse._SubParsersAction))  # noqa: SLF001
    found: Commands = {}
    for name, sub in choice.choices.items():
        options = [o for a in sub._actions for o in a.option_strings]  # noqa: SLF001
        found[name] = (sub.description or "", sorted(options))
    return found


def _bash(commands: Commands) -> str:
    cases = "\n".join(
        f'        {name}) words="{" ".join(options)}" ;;' for name, (_, options) in commands.items()
    )
    return f"""_sounding() {{
    local word=${{COMP_WORDS[COMP_CWORD]}} words=
    if [ "$COMP_CWORD" -eq 1 ]; then
        words="{" ".join(commands)} --help --version"
        COMPREPLY=($(compgen -W "$words" -- "$word"))
        return
    fi
    case ${{COMP_WORDS[1]}} in
{cases}
    esac
    case $word in
        -*) COMPREPLY=($(compgen -W "$words" -- "$word")) ;;
        *) compopt -o default ;;
    esac
}}
complete -F _sounding sounding
"""


def _zsh(commands: Commands) -> str:
    return f"autoload -U +X bashcompinit && bashcompinit\n{_bash(commands)}"


def _fish(commands: Commands) -> str:
    lines = []
    for name, (text, options) in commands.items():
        said = text.split(".")[0].replace("'", "")
        lines.append(f"complete -c sounding -n __fish_use_subcommand -f -a {name} -d '{said}'")
        lines += [
            f"complete -c sounding -n '__fish_seen_subcommand_from {name}' -l {option[2:]}"
            for option in options
            if option.startswith("--")
        ]
    return "\n".join(lines) + "\n"

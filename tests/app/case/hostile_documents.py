"""What may stand in a file of the program's own after a fault of the disk, or of a person."""

FORMS = ("sounding-case", "sounding-settings", "sounding-repeat-study", "sounding-open")


def documents(form: str, keys: tuple[str, ...]) -> dict[str, bytes]:
    """Contents by name; none of them is what the program writes.

    Parameters
    ----------
    form : str
        ``format`` of the file.
    keys : tuple of str
        Each in turn holds a value of another kind.
    """
    head = b'{"format": "' + form.encode() + b'"'
    other = {
        "a number": b"7",
        "nothing": b"null",
        "a list": b"[[1, 2], {}]",
        "an object": b'{"a": {"b": []}}',
        "a huge number": b"1" + b"0" * 400,
        "not a number": b"NaN",
        "a long text": b'"' + b"x" * 100_000 + b'"',
        "half a character": b'"\\ud800"',
        "a null byte": b'"a\\u0000b"',
        "rich text": b'"<b>x</b>"',
    }
    found = {
        "empty": b"",
        "cut": head,
        "not text": bytes(range(256)),
        "a list": b"[]",
        "another kind": b'{"format": "something else"}',
        "no kind": b"{}",
        "nested": b'{"format": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
        "nested inside": head + b', "x": ' + b'{"a":' * 50_000 + b"1" + b"}" * 50_001,
        "large": head + b', "x": "' + b"y" * 9_000_000 + b'"}',
        "kind is a list": b'{"format": ["' + form.encode() + b'"]}',
    }
    for key in keys:
        for name, value in other.items():
            found[f"{key}: {name}"] = head + b', "' + key.encode() + b'": ' + value + b"}"
    return found

"""An archive on the network: its address, how it is reached, and whether it answers."""

from __future__ import annotations

import re
import ssl
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from core.errors import SoundingError
from core.words.catalogue import say

_ADDRESS = re.compile(
    r"(?P<title>[^@\\]{1,16})@(?P<host>\[[^\]]+\]|[^:@\[\]\s]+):(?P<port>\d{1,5})"
)
PATIENCE_S = 30.0
"""For an answer; a busy archive takes its time, a dead one must not hold a window for ever."""

ECHO = "1.2.840.10008.1.1"


@dataclass(frozen=True, slots=True)
class Node:
    """AE title, host and port of an archive."""

    title: str
    host: str
    port: int

    @classmethod
    def of(cls, text: str) -> Node:
        """Read ``AET@HOST:PORT``; an IPv6 host stands in brackets.

        Raises
        ------
        SoundingError
            ``archive-address``.
        """
        found = _ADDRESS.fullmatch(text.strip())
        if found is None or not found["title"].strip() or not 1 <= int(found["port"]) <= 65535:
            raise SoundingError("archive-address", found=text)
        return cls(found["title"].strip(), found["host"].strip("[]"), int(found["port"]))

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.title}@{host}:{self.port}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Secured:
    """TLS: the archive's certificate is checked, and our own shown where it is asked for.

    Parameters
    ----------
    ca, cert, key : Path or None
        PEM files; without `ca` the system's own authorities count.
    """

    ca: Path | None = None
    cert: Path | None = None
    key: Path | None = None

    def context(self, node: Node) -> ssl.SSLContext:
        """Context of a client.

        Raises
        ------
        SoundingError
            ``archive-certificate``.
        """
        try:
            context = ssl.create_default_context(cafile=self.ca)
            context.minimum_version = ssl.TLSVersion.TLSv1_2
            if self.cert is not None:
                context.load_cert_chain(self.cert, self.key)
        except (OSError, ssl.SSLError) as error:
            raise SoundingError("archive-certificate", node=node, reason=error) from error
        return context

    def context_of_our_port(self, node: Node) -> ssl.SSLContext:
        """Context of a server: what the archive sends by itself comes encrypted as well.

        Raises
        ------
        SoundingError
            ``archive-no-own-certificate``, ``archive-certificate``.
        """
        if self.cert is None:
            raise SoundingError("archive-no-own-certificate", node=node)
        try:
            # Whoever sends has to show a certificate that the same authorities vouch for.
            context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH, cafile=self.ca)
            context.minimum_version = ssl.TLSVersion.TLSv1_2
            context.verify_mode = ssl.CERT_REQUIRED
            context.load_cert_chain(self.cert, self.key)
        except (OSError, ssl.SSLError) as error:
            raise SoundingError("archive-certificate", node=node, reason=error) from error
        return context


@dataclass(frozen=True, slots=True, kw_only=True)
class Connection:
    """How an archive is reached.

    Parameters
    ----------
    node : Node
    title : str
        Our own AE title.
    listen : int or None
        Our own port, for what the archive sends back by itself.
    tls : Secured or None
    """

    node: Node
    title: str = "SOUNDING"
    listen: int | None = None
    tls: Secured | None = None

    @contextmanager
    def association(
        self,
        contexts: Sequence[tuple[str, Sequence[str]]],
        *,
        handlers: Sequence[Any] = (),
        roles: Sequence[Any] = (),
    ) -> Iterator[Any]:
        """An association that answered the echo; released at the end, whatever happens.

        Parameters
        ----------
        contexts : sequence of (SOP class UID, transfer syntax UIDs)
        handlers, roles
            Passed on to pynetdicom.

        Raises
        ------
        SoundingError
            ``archive-not-installed``, ``archive-no-answer``, ``archive-certificate``.
        """
        require_installed()
        from pynetdicom import AE

        ae: Any = AE(ae_title=self.title)
        ae.acse_timeout = ae.dimse_timeout = ae.network_timeout = ae.connection_timeout = PATIENCE_S
        ae.add_requested_context(ECHO)
        for sop_class, syntaxes in contexts:
            ae.add_requested_context(sop_class, list(syntaxes))
        more: dict[str, Any] = {"ae_title": self.node.title, "evt_handlers": list(handlers)}
        if roles:
            more["ext_neg"] = list(roles)
        if self.tls is not None:
            more["tls_args"] = (self.tls.context(self.node), self.node.host)
        assoc = ae.associate(self.node.host, self.node.port, **more)
        if not assoc.is_established:
            raise SoundingError("archive-no-answer", node=self.node, title=self.title)
        try:
            answer = assoc.send_c_echo()
            if getattr(answer, "Status", None) != 0:
                raise SoundingError("archive-no-answer", node=self.node, title=self.title)
            yield assoc
        finally:
            if assoc.is_established:
                assoc.release()


def require_installed() -> None:
    """Refuse where the optional part is missing.

    Raises
    ------
    SoundingError
        ``archive-not-installed``.
    """
    if find_spec("pynetdicom") is None:
        raise SoundingError("archive-not-installed")


def require_offered(connection: Connection, assoc: Any, sop_class: str, service: str) -> None:
    """Refuse to go on where the archive did not accept a service.

    Parameters
    ----------
    connection : Connection
    assoc : association of pynetdicom
    sop_class : str
        UID of the service.
    service : str
        Its name, as the trade has it.

    Raises
    ------
    SoundingError
        ``archive-not-offered``.
    """
    if not any(context.abstract_syntax == sop_class for context in assoc.accepted_contexts):
        raise SoundingError(
            "archive-not-offered", node=connection.node, title=connection.title, service=service
        )


def plain_syntaxes() -> tuple[str, ...]:
    """Transfer syntaxes of questions and answers."""
    from pydicom.uid import ExplicitVRLittleEndian, ImplicitVRLittleEndian

    return (ExplicitVRLittleEndian, ImplicitVRLittleEndian)


def status(code: int | None) -> str:
    """What an archive answered, for people."""
    return say("archive.node.no-answer") if code is None else say("archive.node.status", code=code)

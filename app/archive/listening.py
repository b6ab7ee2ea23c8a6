"""Our own port, open for a moment: what an archive sends back by itself arrives there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from app.archive.node import ECHO, Connection
from core.errors import SoundingError


@contextmanager
def listening(
    connection: Connection, sop_classes: Sequence[str], handlers: Sequence[Any]
) -> Iterator[None]:
    """Answer associations to our own title at our own port, until the end of the block.

    Raises
    ------
    SoundingError
        ``archive-port-taken``; with TLS ``archive-no-own-certificate``, ``archive-certificate``.
    """
    from pynetdicom import AE, ALL_TRANSFER_SYNTAXES

    ae: Any = AE(ae_title=connection.title)
    ae.require_called_aet = True
    ae.add_supported_context(ECHO)
    for sop_class in sop_classes:
        # The archive plays the provider's part of storage commitment, and we the user's.
        ae.add_supported_context(sop_class, ALL_TRANSFER_SYNTAXES, scu_role=True, scp_role=True)
    tls = connection.tls
    context = None if tls is None else tls.context_of_our_port(connection.node)
    try:
        server = ae.start_server(
            ("", connection.listen), block=False, evt_handlers=list(handlers), ssl_context=context
        )
    except OSError as error:
        raise SoundingError("archive-port-taken", port=connection.listen) from error
    try:
        yield
    finally:
        server.shutdown()

"""``satcheck serve``: the phone page at the bench."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from satcheck.cli.common import say
from satcheck.errors import UsageError

CalibrationOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="The shop's calibration; else the demo's.")
]
RecordsOption = Annotated[
    Path, typer.Option(metavar="DIR", help="Folder that keeps photos, verdicts and the key.")
]
LedgerOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="The shop's ledger; else one in the folder.")
]
LessonOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="lesson.html to serve; results are recorded.")
]
PortOption = Annotated[int, typer.Option(min=1, max=65535, help="Port to listen on.")]
HostOption = Annotated[
    str, typer.Option(metavar="ADDRESS", help="Address to listen on; else every one.")
]
NameOption = Annotated[
    list[str] | None,
    typer.Option("--name", metavar="NAME", help="Further name of this computer; may be repeated."),
]
CertificateOption = Annotated[
    Path | None, typer.Option("--tls-cert", metavar="FILE", help="Certificate (PEM) for https.")
]
CertificateKeyOption = Annotated[
    Path | None, typer.Option("--tls-key", metavar="FILE", help="The certificate's key (PEM).")
]
NewKeyOption = Annotated[
    bool, typer.Option("--new-key", help="Make a new key: phones must scan the code again.")
]


def serve(
    calibration: CalibrationOption = None,
    records: RecordsOption = Path("satcheck-records"),
    ledger: LedgerOption = None,
    lesson: LessonOption = None,
    port: PortOption = 8470,
    host: HostOption = "0.0.0.0",
    name: NameOption = None,
    tls_cert: CertificateOption = None,
    tls_key: CertificateKeyOption = None,
    new_key: NewKeyOption = False,
) -> None:
    """Serve the phone page on the shop's own network.

    Prints the address, a QR code that opens it on a phone, and how to stop. The code holds the
    key: show it to nobody outside the shop. Needs no internet.
    """
    from satcheck.calibration.file import default_calibration_path
    from satcheck.web.serve import (
        Place,
        address,
        allowed_hosts,
        check_certificate,
        check_names,
        listen,
        open_shop,
        qr_text,
        run,
    )

    if (tls_cert is None) != (tls_key is None):
        raise UsageError("--tls-cert and --tls-key belong together; both or neither are allowed")
    if tls_cert is not None and tls_key is not None:
        check_certificate(tls_cert, tls_key)
    chosen = calibration or default_calibration_path()
    if chosen is None:
        raise UsageError("no calibration: give one with --calibration FILE")
    place = Place(host, port, check_names(name or ()), tls_cert, tls_key)
    hosts = allowed_hosts(place)
    opened = open_shop(chosen, records, hosts, ledger=ledger, lesson=lesson, renew_key=new_key)
    with opened as (app, key), listen(place) as socket:
        link = address(place, key)
        code = qr_text(link, sys.stdout.encoding)
        say(code or "")
        scan = "" if code is None else "scan the code or "
        say(f"With a phone on the shop's Wi-Fi {scan}open\n  {link}")
        say(f"Photos and verdicts are kept in {records.resolve()}. Stop with Ctrl+C.")
        run(app, place, [socket])

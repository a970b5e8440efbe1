"""An address as a QR code, which the camera of a phone reads: made on this machine."""

from __future__ import annotations

import segno

from tunnelsite.desk.messages import ScanCode

QUIET = 4  # modules left white round the code: ISO/IEC 18004


def scan_code(address: str) -> ScanCode:
    """The code of an address. Arguments: address, ASCII."""
    rows = list(segno.make_qr(address, error="m").matrix_iter(border=QUIET))
    dark = [f"M{col} {row}h1v1h-1z" for row, cells in enumerate(rows) for col, cell in enumerate(cells) if cell]
    return ScanCode(side=len(rows), path="".join(dark))

"""The square code on a tag: a job's address, for any telephone's camera."""

import io


def draw_code(text: str) -> bytes:
    """Draw a QR code (ISO/IEC 18004) as SVG, with the quiet zone of four modules it needs."""
    import segno

    stream = io.BytesIO()
    code = segno.make(text, error="m", micro=False)
    code.save(stream, kind="svg", border=4, xmldecl=False, omitsize=True, nl=False)
    return stream.getvalue()

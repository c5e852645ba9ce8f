"""Keeps a viewer alive whose OpenGL is drawn in software, as on remote desktops and in tests. No Qt."""

from __future__ import annotations

from typing import Any

_SOFTWARE = ("llvmpipe", "softpipe", "swrast")
"""What such an OpenGL calls itself."""


def keep_programs() -> None:
    """Let programs of removed layers stay in an OpenGL that is drawn in software.

    Mesa's software drawing (seen with 22.3) ends the process some drawings after a shader program of a
    removed layer was deleted. A program that stays costs some kilobytes; with graphics hardware, programs are
    deleted as ever. May be called again and again.
    """
    from vispy.gloo import gl, glir

    delete = glir.GlirProgram.delete
    if getattr(delete, "keeps_programs", False):
        return

    def delete_unless_software(self: Any) -> None:
        if not is_in_software(str(gl.glGetParameter(gl.GL_RENDERER))):
            delete(self)

    delete_unless_software.keeps_programs = True  # type: ignore[attr-defined]
    glir.GlirProgram.delete = delete_unless_software


def is_in_software(renderer: str) -> bool:
    """Whether an OpenGL of this name draws in software."""
    return any(name in renderer.lower() for name in _SOFTWARE)

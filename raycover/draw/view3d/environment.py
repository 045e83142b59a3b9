"""Whether 3D can be drawn here, and by what: EGL without a display for pictures, X for a window.

VTK ends the whole process when it finds neither, so it is asked nothing before this module has made sure.
Measured on VTK 9.7, Debian 12: EGL needs libEGL.so.1 (libegl1), a driver behind it (libegl-mesa0, which libegl1
brings) and Mesa's renderer (libgl1-mesa-dri, which it does not bring); neither libgl1 nor X11 is needed. A
window needs libX11 and libGL (libgl1).
"""

from __future__ import annotations

import ctypes
import os
import re
import sys
from typing import Any

from raycover.errors import MissingPart

_VARIABLE = "VTK_DEFAULT_OPENGL_WINDOW"
_EGL_WINDOW, _X_WINDOW = "vtkEGLRenderWindow", "vtkXOpenGLRenderWindow"
_EGL_PLATFORM_DEVICE = 0x313F
#: Dots an inch of a plain screen, there and on a Mac. Projectors give shapes (16 by 9) for sizes, in mm.
_PLAIN_DPI, _MAC_DPI, _NO_SCREEN_MM = 96.0, 72.0, 60

NO_EGL = (
    "3D pictures need EGL, or an X display, and this machine offers neither. On Debian or Ubuntu: "
    "sudo apt-get install libegl1 libgl1-mesa-dri"
)
NO_DISPLAY = (
    "the window needs a display, and {why}. Run it on a desktop, or through `ssh -X`; the same view as a "
    "picture needs none: raycover map writes view.png"
)


def load_for_pictures() -> Any:
    """PyVista, set to draw without a display. Raises MissingPart where 3D cannot be drawn."""
    if sys.platform.startswith("linux"):
        if egl_works():
            os.environ[_VARIABLE] = _EGL_WINDOW
        elif display_problem() is None:
            os.environ[_VARIABLE] = _X_WINDOW
        else:
            raise MissingPart(NO_EGL)
    return _pyvista()


def load_for_window() -> Any:
    """PyVista, set to open windows. Raises MissingPart where there is no display."""
    require_display()
    if sys.platform.startswith("linux"):
        os.environ[_VARIABLE] = _X_WINDOW
    return _pyvista()


def require_display() -> None:
    """Raises MissingPart where no window can be opened; loads nothing heavy."""
    problem = display_problem() if sys.platform.startswith("linux") else None
    if problem is not None:
        raise MissingPart(NO_DISPLAY.format(why=problem))


def display_report() -> str:
    """What 3D is drawn by here, in a few words. Raises MissingPart where it cannot be drawn at all."""
    if not sys.platform.startswith("linux"):
        return "pictures and windows by the system's own OpenGL"
    egl, problem = egl_works(), display_problem()
    if not egl and problem is not None:
        raise MissingPart(NO_EGL)
    pictures = "pictures by EGL, no display needed" if egl else "pictures through the X display"
    return f"{pictures}; " + ("windows open" if problem is None else f"no windows: {problem}")


def egl_works() -> bool:
    """Whether some EGL device starts. Loads no VTK and leaves nothing behind but the loaded library."""
    egl = _library("libEGL.so.1")
    if egl is None:
        return False
    try:
        find = egl.eglGetProcAddress
        find.restype, find.argtypes = ctypes.c_void_p, [ctypes.c_char_p]
        query, display_of = find(b"eglQueryDevicesEXT"), find(b"eglGetPlatformDisplayEXT")
        if not query or not display_of:
            return False
        query_devices = ctypes.CFUNCTYPE(
            ctypes.c_uint, ctypes.c_int, ctypes.POINTER(ctypes.c_void_p), ctypes.POINTER(ctypes.c_int)
        )(query)
        get_display = ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_uint, ctypes.c_void_p, ctypes.c_void_p)(display_of)
        start = egl.eglInitialize
        start.restype = ctypes.c_uint
        start.argtypes = [ctypes.c_void_p, ctypes.POINTER(ctypes.c_int), ctypes.POINTER(ctypes.c_int)]
    except AttributeError:
        return False
    devices, n = (ctypes.c_void_p * 16)(), ctypes.c_int(0)
    if not query_devices(16, devices, ctypes.byref(n)):
        return False
    major, minor = ctypes.c_int(), ctypes.c_int()
    displays = [get_display(_EGL_PLATFORM_DEVICE, devices[k], None) for k in range(n.value)]
    return any(d and start(d, ctypes.byref(major), ctypes.byref(minor)) for d in displays)


def display_problem() -> str | None:
    """Why no X window can be opened here, or None where one can."""
    name = os.environ.get("DISPLAY", "")
    if not name:
        return "there is none here (DISPLAY is not set)"
    x11 = _library("libX11.so.6")
    if x11 is None:
        return "libX11 is missing (on Debian or Ubuntu: sudo apt-get install libx11-6)"
    if _library("libGL.so.1") is None:
        return "libGL is missing (on Debian or Ubuntu: sudo apt-get install libgl1)"
    x11.XOpenDisplay.restype, x11.XOpenDisplay.argtypes = ctypes.c_void_p, [ctypes.c_char_p]
    x11.XCloseDisplay.argtypes = [ctypes.c_void_p]
    display = x11.XOpenDisplay(name.encode())
    if not display:
        return f"the display {name} does not answer"
    x11.XCloseDisplay(display)
    return None


def screen_scale() -> float:
    """How many pixels a point of type has on the screen, by what its desktop is set to; 1 where nobody says.

    On X: the toolkits' own variables, the desktop's resource Xft.dpi, then the display's own resolution, against 96
    dots an inch. Elsewhere VTK says. Whole quarters, from 1 to 4.
    """
    for name in ("GDK_SCALE", "QT_SCALE_FACTOR"):
        try:
            return _quarters(float(os.environ[name]))
        except (KeyError, ValueError):
            continue
    if sys.platform.startswith("linux"):
        return _quarters((_dots_per_inch() or _PLAIN_DPI) / _PLAIN_DPI)
    window = _pyvista()._vtk.vtkRenderWindow()
    window.DetectDPI()
    return _quarters(window.GetDPI() / (_MAC_DPI if sys.platform == "darwin" else _PLAIN_DPI))


def _quarters(scale: float) -> float:
    return min(max(round(4 * scale) / 4, 1.0), 4.0)


def _dots_per_inch() -> float | None:
    """What the X display is set to, or says of itself; a screen that does not know its size says nothing."""
    x11 = _library("libX11.so.6")
    if x11 is None:
        return None
    x11.XOpenDisplay.restype, x11.XOpenDisplay.argtypes = ctypes.c_void_p, [ctypes.c_char_p]
    display = x11.XOpenDisplay(os.environ.get("DISPLAY", "").encode())
    if not display:
        return None
    x11.XResourceManagerString.restype, x11.XResourceManagerString.argtypes = ctypes.c_char_p, [ctypes.c_void_p]
    x11.XCloseDisplay.argtypes = [ctypes.c_void_p]
    for ask in (x11.XDisplayHeight, x11.XDisplayHeightMM):
        ask.argtypes = [ctypes.c_void_p, ctypes.c_int]
    try:
        told = re.search(rb"^Xft\.dpi:\s*([\d.]+)", x11.XResourceManagerString(display) or b"", re.MULTILINE)
        if told:
            return float(told[1])
        pixels, millimetres = (ask(display, 0) for ask in (x11.XDisplayHeight, x11.XDisplayHeightMM))
        return 25.4 * pixels / millimetres if millimetres > _NO_SCREEN_MM else None
    finally:
        x11.XCloseDisplay(display)


def _library(name: str) -> ctypes.CDLL | None:
    try:
        return ctypes.CDLL(name)
    except OSError:
        return None


def _pyvista() -> Any:
    try:
        import pyvista
    except ImportError as error:
        raise MissingPart(f"3D pictures need PyVista: pip install pyvista ({error})") from None
    return pyvista

"""A browser without a window for tests of pages: Chromium through its debugging pipe (Chrome DevTools Protocol)."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
from contextlib import suppress
from pathlib import Path
from typing import Any

from processes import ended, told

#: Seconds for one answer: a page has forty to become ready.
LONGEST_ANSWER = 120.0
#: Where distributions put it.
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
_SWITCHES = (
    "--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--no-first-run", "--hide-scrollbars",
    "--disable-extensions", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--remote-debugging-pipe",
)  # fmt: skip

_WHEN_READY = """new Promise((done, fail) => {
    const end = Date.now() + 40000;
    const look = () => {
        if (document.readyState === "complete" && document.documentElement.dataset.ready) done(true);
        else if (Date.now() > end) fail(new Error("the page never became ready"));
        else setTimeout(look, 50);
    };
    look();
})"""


def find_browser() -> str | None:
    return next((found for name in NAMES if (found := shutil.which(name))), None)


class Browser:
    """One page in one browser. `complaints` are errors and warnings of its console, `asked` all it tried to fetch."""

    def __init__(self, profile: Path, size: tuple[int, int] = (1280, 800)) -> None:
        program = find_browser()
        assert program is not None
        read_end, self._to = os.pipe()
        self._from, write_end = os.pipe()
        # The protocol's ends are file descriptors 3 and 4 of the browser.
        line = f'exec "$0" "$@" 3<&{read_end} 4>&{write_end}'
        switches = (*_SWITCHES, f"--user-data-dir={profile}", f"--window-size={size[0]},{size[1]}", "about:blank")
        self._process = subprocess.Popen(
            ["bash", "-c", line, program, *switches], pass_fds=(read_end, write_end),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        os.close(read_end)
        os.close(write_end)
        try:
            self._begin(size)
        except BaseException:
            self.close()
            raise

    def _begin(self, size: tuple[int, int]) -> None:
        self._rest, self._n = b"", 0
        self.complaints: list[str] = []
        self.asked: list[str] = []
        targets = self._send("Target.getTargets")["targetInfos"]
        page = next(t for t in targets if t["type"] == "page")
        self._session: str | None = self._send("Target.attachToTarget", targetId=page["targetId"], flatten=True)[
            "sessionId"
        ]
        for domain in ("Inspector", "Page", "Runtime", "Log", "Network"):
            self._send(f"{domain}.enable")
        self._send(
            "Emulation.setDeviceMetricsOverride", width=size[0], height=size[1], deviceScaleFactor=1, mobile=False
        )

    _session: str | None = None

    def open(self, path: Path) -> None:
        """Open a file and wait until its script says that it is ready."""
        self._send("Page.navigate", url=path.resolve().as_uri())
        self.run(_WHEN_READY)
        self.frames(2)

    def run(self, code: str) -> Any:
        """The value of an expression in the page, promises awaited. Raises AssertionError with the page's error."""
        found = self._send("Runtime.evaluate", expression=code, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def frames(self, n: int = 1) -> None:
        """Let some frames be drawn."""
        for _ in range(n):
            self.run("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")

    def press(self, key: str) -> None:
        text = {"text": key} if len(key) == 1 else {}
        self._send("Input.dispatchKeyEvent", type="keyDown", key=key, **text)
        self._send("Input.dispatchKeyEvent", type="keyUp", key=key)
        self.frames()

    def click(self, x: float, y: float) -> None:
        about = {"x": x, "y": y, "button": "left", "clickCount": 1}
        self._send("Input.dispatchMouseEvent", type="mousePressed", **about)
        self._send("Input.dispatchMouseEvent", type="mouseReleased", **about)
        self.frames()

    def picture(self) -> bytes:
        """The window as PNG."""
        return base64.b64decode(self._send("Page.captureScreenshot", format="png")["data"])

    def close(self) -> None:
        os.close(self._to)
        os.close(self._from)
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(5)  # it leaves when its pipe closes
        ended(self._process, group=True)

    def _send(self, method: str, **parameters: Any) -> dict[str, Any]:
        self._n += 1
        message: dict[str, Any] = {"id": self._n, "method": method, "params": parameters}
        if self._session is not None:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._n:
                assert "error" not in answer, (method, answer["error"])
                return answer.get("result", {})
            self._note(answer)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            more = told(self._from, b"\0", LONGEST_ANSWER, "the browser")
            assert b"\0" in more, "the browser went away"
            self._rest += more
        message, self._rest = self._rest.split(b"\0", 1)
        return json.loads(message)

    def _note(self, event: dict[str, Any]) -> None:
        method, about = event.get("method"), event.get("params", {})
        # Whatever was asked of a page that died is never answered.
        assert method not in ("Inspector.targetCrashed", "Target.targetCrashed"), "the page crashed"
        if method == "Runtime.exceptionThrown":
            self.complaints.append(str(about["exceptionDetails"].get("exception", about)))
        elif method == "Runtime.consoleAPICalled" and about["type"] in ("error", "warning", "assert"):
            self.complaints.append(f"{about['type']}: {[a.get('value') for a in about['args']]}")
        elif method == "Log.entryAdded" and about["entry"]["level"] in ("error", "warning"):
            self.complaints.append(about["entry"]["text"])
        elif method == "Network.requestWillBeSent":
            self.asked.append(about["request"]["url"][:80])

"""A headless Chromium driven over two pipes in its DevTools protocol: no port, no further library.

The browser is given a fresh profile. Whatever the page asks of the network is counted in :attr:`Tab.requests`, whatever
it says on its console or throws in :attr:`Tab.complaints`.
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

DEADLINE = 60.0
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run", "--mute-audio",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-default-apps",
    "--disable-dev-shm-usage", "--force-color-profile=srgb", "--remote-debugging-pipe",
)  # fmt: skip


def find_chromium() -> str | None:
    """The browser's program, or None where it is not installed."""
    return next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)


class Browser:
    """A running browser; :meth:`close` ends it."""

    def __init__(self, program: str, profile: Path) -> None:
        command_read, command_write = os.pipe()
        answer_read, answer_write = os.pipe()
        # The browser reads commands from descriptor 3 and answers on descriptor 4.
        script = f'exec "$@" 3<&{command_read} 4>&{answer_write}'
        self.process = subprocess.Popen(
            ["/bin/bash", "-c", script, "bash", program, *FLAGS, f"--user-data-dir={profile}"],
            pass_fds=(command_read, answer_write),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(command_read)
        os.close(answer_write)
        self._write, self._read, self._buffer, self._id = command_write, answer_read, b"", 0
        self.events: list[dict[str, Any]] = []

    def call(self, method: str, session: str = "", **params: Any) -> dict[str, Any]:
        """The result of one command; events that arrive before it are kept."""
        self._id += 1
        message: dict[str, Any] = {"id": self._id, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._write, data) :]
        until = time.monotonic() + DEADLINE
        while True:
            answer = self._message(until)
            if answer.get("id") == self._id:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                result: dict[str, Any] = answer["result"]
                return result
            self.events.append(answer)

    def _message(self, until: float) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._read], [], [], max(0.0, until - time.monotonic()))
            if not ready:
                raise TimeoutError("the browser did not answer")
            data = os.read(self._read, 1 << 20)
            if not data:
                raise RuntimeError("the browser has ended")
            self._buffer += data
        text, _, self._buffer = self._buffer.partition(b"\0")
        message: dict[str, Any] = json.loads(text)
        return message

    def open(self, page: Path, *, width: int = 1280, height: int = 900) -> Tab:
        """A new tab that shows the page."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        tab = Tab(self, session, target)
        for domain in ("Page", "Runtime", "Network", "Log"):
            tab.call(f"{domain}.enable")
        tab.size(width, height)
        self.events.clear()
        tab.call("Page.navigate", url=page.as_uri())
        tab.until("document.readyState === 'complete'")
        return tab

    def close(self) -> None:
        """Ends the browser."""
        try:
            self.call("Browser.close")
        except (RuntimeError, OSError, TimeoutError):
            self.process.kill()
        self.process.wait(DEADLINE)
        os.close(self._write)
        os.close(self._read)


class Tab:
    """One page in the browser."""

    def __init__(self, browser: Browser, session: str, target: str) -> None:
        self.browser, self.session, self.target = browser, session, target

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command to this tab."""
        return self.browser.call(method, self.session, **params)

    def size(self, width: int, height: int) -> None:
        """Gives the page a window of this size, in CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False
        )

    def run(self, expression: str) -> Any:
        """The value of an expression of JavaScript, evaluated as the browser's tools do."""
        done = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in done:
            raise RuntimeError(str(done["exceptionDetails"]))
        return done["result"].get("value")

    def until(self, condition: str) -> None:
        """Returns when the condition holds; an error after a minute."""
        end = time.monotonic() + DEADLINE
        while not self.run(condition):
            if time.monotonic() > end:
                raise TimeoutError(condition)
            time.sleep(0.02)

    def key(self, key: str, *, shift: bool = False) -> None:
        """Presses a key as a person does."""
        codes = {"Tab": 9, "Enter": 13, " ": 32, "ArrowLeft": 37, "ArrowRight": 39}
        text = {"Enter": "\r"}.get(key, key if len(key) == 1 else "")
        said = {"key": key, "windowsVirtualKeyCode": codes.get(key, ord(key[0])), "modifiers": 8 if shift else 0}
        self.call("Input.dispatchKeyEvent", type="keyDown" if text else "rawKeyDown", text=text, **said)
        self.call("Input.dispatchKeyEvent", type="keyUp", **said)

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Drags the mouse from one place of the window to another."""
        self.mouse("mouseMoved", *start)
        self.mouse("mousePressed", *start, button="left", clickCount=1)
        self.mouse("mouseMoved", (start[0] + end[0]) / 2, end[1], button="left", buttons=1)
        self.mouse("mouseMoved", *end, button="left", buttons=1)
        self.mouse("mouseReleased", *end, button="left", clickCount=1)

    def mouse(self, kind: str, x: float, y: float, **more: Any) -> None:
        """One event of the mouse."""
        self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, **more)

    def media(self, kind: str = "", **features: str) -> None:
        """Shows the page as for a medium (``print``), or to a preference such as ``prefers_color_scheme``."""
        wanted = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.call("Emulation.setEmulatedMedia", media=kind, features=wanted)

    def pdf(self) -> bytes:
        """The page as it prints."""
        return base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True)["data"])

    def picture(self, path: Path, clip: tuple[float, float, float, float] | None = None) -> None:
        """A picture of the window, or of a place (x, y, width, height) of the page."""
        more: dict[str, Any] = {}
        if clip is not None:
            x, y, width, height = clip
            more = {"clip": {"x": x, "y": y, "width": width, "height": height, "scale": 1}}
            more["captureBeyondViewport"] = True
        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot", format="png", **more)["data"]))

    @property
    def requests(self) -> list[str]:
        """Every address the page has asked for, itself left out."""
        found = [e["params"]["request"]["url"] for e in self._events("Network.requestWillBeSent")]
        return found[1:]

    @property
    def complaints(self) -> list[str]:
        """Everything on the console, every uncaught error, every dialog."""
        kinds = ("Runtime.exceptionThrown", "Runtime.consoleAPICalled", "Log.entryAdded")
        kinds += ("Page.javascriptDialogOpening",)
        return [json.dumps(event["params"])[:500] for kind in kinds for event in self._events(kind)]

    def _events(self, kind: str) -> list[dict[str, Any]]:
        self.run("0")
        return [e for e in self.browser.events if e.get("method") == kind and e.get("sessionId") == self.session]

    def close(self) -> None:
        """Closes the tab."""
        self.browser.call("Target.closeTarget", targetId=self.target)

"""A headless Chromium, driven over its DevTools protocol (published: chromedevtools.github.io/devtools-protocol)."""

import base64
import json
import os
import shutil
import subprocess
import tempfile
import time

import websocket


def find():
    for name in [os.environ.get("CHROMIUM", ""), "chromium", "chromium-browser", "google-chrome"]:
        if name and shutil.which(name):
            return name
    raise SystemExit("no Chromium found: install it, or name it in CHROMIUM")


class Browser:
    """One window. `requests` and `complaints` gather what the pages asked for and what went wrong in them."""

    def __init__(self):
        self.profile = tempfile.mkdtemp(prefix="outside-chromium-")
        self.process = subprocess.Popen(
            [find(), "--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-port=0", "--remote-allow-origins=*",
             "--no-first-run", "--disable-background-networking", "--disable-quic", "--disable-component-update", "--disable-sync", f"--user-data-dir={self.profile}", "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        port_file = os.path.join(self.profile, "DevToolsActivePort")
        deadline = time.monotonic() + 60
        while not (os.path.exists(port_file) and os.path.getsize(port_file)):
            if self.process.poll() is not None or time.monotonic() > deadline:
                raise SystemExit("Chromium did not start")
            time.sleep(0.1)
        port, path = open(port_file).read().split()
        self.socket = websocket.create_connection(f"ws://127.0.0.1:{port}{path}", timeout=120)
        self.number = 0
        self.session = None
        self.requests = []
        self.complaints = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ["Page", "Runtime", "Network", "Log"]:
            self.call(f"{domain}.enable")

    def call(self, method, **parameters):
        self.number += 1
        message = {"id": self.number, "method": method, "params": parameters}
        if self.session:
            message["sessionId"] = self.session
        self.socket.send(json.dumps(message))
        while True:
            answer = json.loads(self.socket.recv())
            if answer.get("id") == self.number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.event(answer.get("method"), answer.get("params", {}))

    def event(self, method, parameters):
        if method == "Network.requestWillBeSent":
            self.requests.append(parameters["request"]["url"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(parameters["exceptionDetails"].get("text", "exception"))
        elif method == "Runtime.consoleAPICalled" and parameters["type"] in ("error", "warning", "assert"):
            self.complaints.append(str(parameters["args"]))
        elif method == "Log.entryAdded" and parameters["entry"]["level"] in ("error", "warning"):
            self.complaints.append(parameters["entry"]["text"])
        elif method == "Network.loadingFailed" and parameters["errorText"] != "net::ERR_ABORTED":  # which is a page that was left
            self.complaints.append(parameters["errorText"])

    def size(self, width, height=900):
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def open(self, url):
        self.call("Page.navigate", url=url)
        deadline = time.monotonic() + 60
        while self.run("document.readyState + location.href") != "complete" + url:
            if time.monotonic() > deadline:
                raise RuntimeError(f"{url} does not load")
            time.sleep(0.05)

    def settled(self):
        """Nothing is being worked out in the page any more."""
        deadline = time.monotonic() + 120
        while self.run("document.querySelector('main[aria-busy=true]') !== null"):
            if time.monotonic() > deadline:
                raise RuntimeError("the page is busy without an end")
            time.sleep(0.02)

    def run(self, script):
        """Value of a JavaScript expression."""
        result = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in result:
            raise RuntimeError(f"{script[:80]}: {result['exceptionDetails']}")
        return result["result"].get("value")

    def scheme(self, dark):
        """Asks for the dark or the light version of pages."""
        self.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}])

    def press(self, key):
        code = {"ArrowRight": 39, "ArrowLeft": 37, "Home": 36, "End": 35, "ArrowDown": 40, "ArrowUp": 38, "Enter": 13, "Tab": 9, " ": 32}[key]
        text = {"Enter": "\r", " ": " "}.get(key)
        down = {"text": text} if text else {}
        self.call("Input.dispatchKeyEvent", type="keyDown", key=key, code="Space" if key == " " else key, windowsVirtualKeyCode=code, **down)
        self.call("Input.dispatchKeyEvent", type="keyUp", key=key, code="Space" if key == " " else key, windowsVirtualKeyCode=code)

    def pdf(self):
        printed = self.call("Page.printToPDF", printBackground=True, preferCSSPageSize=True)
        return base64.b64decode(printed["data"])

    def picture(self, path):
        shot = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        with open(path, "wb") as file:
            file.write(base64.b64decode(shot["data"]))

    def close(self):
        try:
            self.session = None
            self.call("Browser.close")
        except Exception:
            pass
        try:
            self.process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            self.process.kill()
        shutil.rmtree(self.profile, ignore_errors=True)

"""A server on this machine that sends motion JPEG, as network cameras do: parts of one endless answer."""

import itertools
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import cv2


class Server(ThreadingHTTPServer):
    """Serves `/stream`, each frame when the test says so; any other path is not there.

    Args:
        picture: returns the picture of a number, from 1 on in each stream; None ends the stream.
    """

    daemon_threads = True

    def __init__(self, picture):
        super().__init__(("127.0.0.1", 0), Stream)
        self.picture = picture
        self.may_send, self.is_over = threading.Semaphore(0), False
        threading.Thread(target=self.serve_forever, args=(0.02,), daemon=True).start()

    @property
    def address(self):
        return f"http://127.0.0.1:{self.server_port}/stream"

    def send(self, frames):
        self.may_send.release(frames)

    def end(self):
        self.is_over = True
        self.send(1)

    def handle_error(self, request, client_address):
        """Say nothing: who listened has gone."""

    def close(self):
        self.end()
        self.shutdown()
        self.server_close()


class Stream(BaseHTTPRequestHandler):
    def do_GET(self):
        if self.path != "/stream":
            self.send_error(404)
            return
        self.send_response(200)
        self.send_header("Content-Type", "multipart/x-mixed-replace; boundary=frame")
        self.end_headers()
        for number in itertools.count(1):
            self.server.may_send.acquire()
            picture = None if self.server.is_over else self.server.picture(number)
            if picture is None:
                return
            image = cv2.imencode(".jpg", picture)[1].tobytes()
            head = f"--frame\r\nContent-Type: image/jpeg\r\nContent-Length: {len(image)}\r\n\r\n"
            self.wfile.write(head.encode() + image + b"\r\n")

    def log_message(self, *arguments):
        pass

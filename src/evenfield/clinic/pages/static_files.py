"""Style, scripts and pictures, from the package itself."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from whitenoise.middleware import WhiteNoiseMiddleware  # type: ignore[import-untyped]


class StaticFilesMiddleware(WhiteNoiseMiddleware):  # type: ignore[misc]
    """WhiteNoise, answering with the whole small file: its streamed answer does not suit an async server."""

    @staticmethod
    def serve(static_file: Any, request: HttpRequest) -> HttpResponse:
        """The file, or that it has not changed."""
        found = static_file.get_response(request.method, request.META)
        content = b""
        if found.file is not None:
            with found.file as file:
                content = file.read()
        answer = HttpResponse(content, status=int(found.status))
        del answer["Content-Type"]
        for name, value in found.headers:
            answer[name] = value
        return answer

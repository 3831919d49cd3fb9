"""Where a station sends its answers when several booths share one server."""

from listening.records.forms.form import FileForm


class Server(FileForm):
    """The server of a station; without this file answers stay in the station's own store."""

    format: int = 1
    url: str
    """postgresql://USER@HOST/DATABASE without a password; user and host may come from the environment."""

"""The end of a tab: what it holds is given back when it closes, not when nobody has come back to it for long."""

from __future__ import annotations

import asyncio
from uuid import UUID

from nicegui import Client, app, background_tasks, ui
from starlette.responses import Response

ENDING_S = 5.0
"""How long the work of closed tabs may take to end when the server does."""

_TELL = """<script>
addEventListener("pagehide", (event) => {
  if (!event.persisted) navigator.sendBeacon(`${window.path_prefix}/closed/${window.clientId}`);
});
</script>"""
"""A page that is hidden for good says so; one that the browser keeps, or that lost its connection, does not."""


def end_with_their_tabs() -> None:
    """Let every page delete its client, and with it what was registered by `Client.on_delete`, when it closes."""
    ui.add_body_html(_TELL, shared=True)

    @app.post("/closed/{client_id}")
    async def closed(client_id: UUID) -> Response:
        client = Client.instances.get(str(client_id))
        if client is not None:
            client.delete()
        return Response(status_code=204)

    app.on_shutdown(end_all)


async def end_all() -> None:
    """Delete every client, as when its tab closes, and wait for what that has to end."""
    before = set(background_tasks.running_tasks)
    for client in list(Client.instances.values()):
        client.delete()
    if ending := background_tasks.running_tasks - before:
        await asyncio.wait(ending, timeout=ENDING_S)

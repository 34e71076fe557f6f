"""The web side of `announce`: pages, feed and acts over HTTP, for browsers on this computer and paired tablets.

Holds who may enter (`gate`), what is refused before anything is read (`guard`), the routes (`app`), the feed as
server-sent events (`stream`) and the sockets (`listening`). It knows the service only as a `Desk`, decides nothing, and
opens no ledger. Starlette and uvicorn are imported when the first connection arrives, not before: a bench without a
page stays small and starts at once.
"""

"""Paper: command cards and labels as PDF pages. For commands; the service knows `grid` only, as bench.toml names sheets.

Which cards there are and what stands on a label comes from the protocol (`deck`, `labels`), where each part of it stands
is reckoned in millimetres before anything is drawn (`layout`, `sheets`), and only `page` knows of PDF. May not read the
ledger, open a port or decide which labels were printed: that is the bench's, by the act `printed`.
"""

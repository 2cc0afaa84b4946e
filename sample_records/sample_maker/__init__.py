"""How the sample county is made: the country, its wells, and the files written about them.

`country` the land and its map, `wells` the true wells and their histories,
`rows` rows and planted faults, then one module a file: `firm_log`,
`completion_reports`, `well_inventory`, and `lots`.
"""

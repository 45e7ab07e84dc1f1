"""The pure library: records in, ledger, lives, hazards, decisions, causes and pages out.

Rooms, lowest floor first, each importing only from those below it: `units` and `words`,
`settings`, `contracts`, `intake`, `history`, `bench`, `fuel`, `exposure`, `survival`, `risk`,
`decision`, `score`, `causes`, `pages`.  Nothing here knows an orchestrator, a database, a path,
a clock or an environment variable.
"""

"""The bench page: the whole job in a browser, over the same files and the same library as the commands.

A folder of units is served on this machine only. There is no physics here and no wording of results: these come from the
rooms below. What is typed stands in the job's own files before the page says so; everything else can be lost and made again.

- `safety`: who may ask, and what a browser may do with an answer.
- `workshop`: the units of a folder, their state, and what to do next.
- `fields`: the interview's questions as fields of a form, by step of the work.
- `work`: what takes longer than a moment runs in a process of its own, with progress and a way to stop it.
- `whatif`: other springs, bends, stop and target, and the curve that follows.
- `app`, `unit`, `bench`: the addresses and what answers them. `serve`: the server.

Offers
- `serve`: `serve_folder`
"""

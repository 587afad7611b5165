"""The bench page: the whole job in a browser, over the same files and the same library as the commands.

A folder of units is served on this machine only. There is no physics here and no wording of results: these come from the
rooms below. What is typed stands in the job's own files before the page says so; everything else can be lost and made again.

- `serve`: `serve_folder`
"""

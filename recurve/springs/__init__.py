"""Springs: what one pulls, bears and weighs, the wire it is wound from, and winding one.

Offers:

- `spring`: `Spring`, `Catalogue`
- `wire`: `materials`, `stresses`
- `weighing`: `weigh`
- `winding`: `wind`, `Wanted`
"""

"""Springs: what one pulls, can bear and weighs, the wire it is wound from, and how to have one wound.

Offers:

- `spring`: `Spring`, `Catalogue`, `checked`
- `wire`: `materials`, `wire_sizes`
- `stress`: `stresses`, `allowed_load`
- `weighing`: `weigh`, `WeighedSpring`
- `winding`: `wind`, `Wanted`, `Envelope`, `Wound`
"""

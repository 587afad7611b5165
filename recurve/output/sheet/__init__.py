"""The build sheet as PDF and as a page for the screen, and the record to hand over.

Offers:

- `sheet`: `page_html`, `sheet_pdf`
- `record`: `record_entry`, `record_pdf`, `record_toml`
- `blocks`: `ready_parts`
- `look`: `found_html`, `found_pdf`
"""

"""The build sheet as PDF and as a page for the screen, and the record to hand over.

Offers:

- `sheet`: `sheet_pdf`, `page_html`, `sheet_facts`
- `record`: `record_pdf`, `record_toml`
"""

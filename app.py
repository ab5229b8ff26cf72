"""Turns a call of ``streamlit run app.py`` into the page."""

from wqcheck.page.main import main

main()

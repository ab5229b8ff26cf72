"""Turns a call of ``streamlit run app.py`` into the page; what follows ``--`` says where its records are."""

import sys

from wqcheck.page.main import main

main(sys.argv[1:])

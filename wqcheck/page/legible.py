"""Turns the page into one that can be read by weak eyes, with the keyboard alone, on a tablet, and on paper."""

from __future__ import annotations

MENU_AREA, SAID_AREA = "menu", "said"
"""Keys of the areas of the menu, and of what is said of the last act."""

LEGIBLE = """<style>
/* Captions with a contrast of at least 4.5:1 (WCAG 2.2, 1.4.3), fields of a date at least 24 px (2.5.8). */
[data-testid="stCaptionContainer"] {color: inherit; opacity: 0.85;}
/* A field that cannot be used keeps a label that can be read. */
[data-testid="stWidgetLabel"], [data-testid="stWidgetLabel"] p {color: var(--st-text-color, #31333f) !important;}
[data-testid="stDateInput"] [role="spinbutton"] {
  display: inline-block; min-width: 24px; min-height: 24px; line-height: 24px; text-align: center;
}
/* What the Tab key has reached is ringed (2.4.7); a choice with its words, the main part inside its edge. */
:focus-visible, label:has(input:focus-visible) {
  outline: 2px solid var(--st-primary-color, #1f5f7a) !important; outline-offset: 2px;
}
[data-testid="stMain"]:focus-visible {outline-offset: -3px;}
/* Long words of a table break, so that nothing of it lies beside the screen (1.4.10). */
[data-testid="stTable"] [data-testid="stTableStyledTable"] :is(td, th) :is(div, p, code) {overflow-wrap: anywhere;}
@media (max-width: 1000px) {
  [data-testid="stTable"] :is(td, th) {min-width: 3.4rem;}
}
/* The field behind the chips of a choice keeps its size, however long the chips are (2.5.8). */
[data-testid="stMultiSelect"] input {min-width: 26px !important; min-height: 26px !important;}
/* The views are places to go to: the one that is open is underlined. */
.st-key-view [role="radiogroup"] {gap: 0.2rem 1.1rem; border-bottom: 1px solid rgba(128, 128, 128, 0.4);}
.st-key-view label {padding: 0.2rem 0.1rem 0.35rem 0.1rem; margin: 0; border-bottom: 3px solid transparent;}
.st-key-view label:has(input:checked) {border-bottom-color: var(--st-primary-color, #1f5f7a);}
.st-key-view label:has(input:checked) p {font-weight: 700;}
/* Beside the menu stands which batch is in hand; its place is kept while a view is drawn. */
.st-key-menu {gap: 0.2rem;}
.st-key-menu [data-testid="stMarkdownContainer"] p {font-size: 0.9rem;}
.st-key-menu > :last-child {min-height: 1.5rem;}
/* What is said of an act lies over the foot of the page, so that nothing moves from under the finger. */
.st-key-said {
  position: fixed; bottom: 0.8rem; right: 1.2rem; z-index: 99; width: auto; max-width: min(38rem, 80vw);
  background: var(--st-background-color, #ffffff); border-radius: 0.5rem;
}
/* The side panel leaves room for the tables, also on a tablet. */
@media (max-width: 1000px) {
  [data-testid="stSidebar"][data-collapsed="false"] {width: 224px !important; min-width: 224px !important;}
  [data-testid="stSidebarUserContent"], [data-testid="stSidebarContent"] {
    padding-left: 0.5rem !important; padding-right: 0.5rem !important;
  }
  [data-testid="stMainBlockContainer"] {padding-left: 1.2rem !important; padding-right: 1.2rem !important;}
}
@media print {
  .st-key-said {position: static;}
  [data-testid="stSidebar"], [data-testid="stHeader"], [data-testid="stToolbar"], [data-testid="stStatusWidget"],
  .st-key-view, [data-testid="stButton"], [data-testid="stDownloadButton"], [data-testid="stFileUploader"] {
    display: none;
  }
  html, body, #root, #root > div, .stApp, [data-testid="stApp"], [data-testid="stAppViewContainer"],
  [data-testid="stMain"], [data-testid="stMainBlockContainer"] {
    display: block; position: static; height: auto; max-height: none; overflow: visible; width: 100%;
  }
  [data-testid="stMainBlockContainer"] {padding: 0;}
  [data-testid="stVegaLiteChart"] {max-width: 44rem;}
  [data-testid="stAlert"], [data-testid="stImage"], tr {break-inside: avoid;}
  h1, h2, h3, h4, h5 {break-after: avoid;}
}
</style>"""
"""What the page adds to its looks: the style block, drawn once above everything else."""

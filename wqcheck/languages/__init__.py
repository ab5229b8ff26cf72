"""The languages of papers and page: catalogues of messages, numbers and dates as each language writes them."""

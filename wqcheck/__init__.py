"""Laboratory results of bottled and treated water: read, compared with published limits, and put on a certificate.

The tool never says that water is fit to drink. It says which results were compared with which published limit,
what is missing, and leaves the decision to an authorised person and the local regulator.
"""

__version__ = "0.1.0"

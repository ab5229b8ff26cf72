"""What a stranger can check of a certificate or notice, offline and with nothing but the file."""

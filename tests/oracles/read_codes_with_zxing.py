"""Reads the codes of a picture. A line for each: what it is, whether GS1 says so, its bytes in hexadecimal."""

import sys

import zxingcpp
from PIL import Image

for code in zxingcpp.read_barcodes(Image.open(sys.argv[1]).convert("L")):
    print(code.symbology_identifier, code.content_type.name, code.bytes.hex())

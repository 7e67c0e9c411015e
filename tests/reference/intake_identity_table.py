"""Makes crates/intake/src/identity/ps315_e1_1.csv from a CSV of PS3.15 table E.1-1.

Usage: intake_identity_table.py TABLE.csv > ps315_e1_1.csv
TABLE.csv has the columns tag ("(GGGG,EEEE)"), name, basicProfile, as in the
machine-readable DICOM standard, edition 2024e (github.com/innolitics/dicom-standard,
commit 7f4749d0, standard/confidentiality_profile_attributes.json).
Keywords come from pydicom's dictionary; where it has none, the name without spaces.
"""
import csv
import re
import sys

from pydicom.datadict import keyword_for_tag

rows = []
for row in csv.DictReader(open(sys.argv[1])):
    tag = row["tag"].strip("()").lower()
    keyword = ""
    if re.fullmatch(r"[0-9a-f]{4},[0-9a-f]{4}", tag):
        keyword = keyword_for_tag(int(tag.replace(",", ""), 16))
    elif "gggg" in tag:
        tag = "private"
    keyword = keyword or re.sub(r"[^A-Za-z0-9]", "", row["name"])
    rows.append((tag, keyword, row["basicProfile"]))
print("# DICOM PS3.15 2024e, table E.1-1, Basic Profile: group,element,keyword,action")
for row in sorted(rows):
    print(",".join(row))

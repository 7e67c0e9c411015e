"""Makes one Legacy Converted Enhanced CT object of a classic series, by highdicom.

Usage: python legacy_enhanced.py SERIES.zip OUT.dcm
"""

import pathlib
import sys
import tempfile
import warnings
import zipfile

import highdicom
import pydicom
from pydicom.uid import generate_uid

EMPTY = (
    "PatientID PatientName PatientBirthDate PatientSex StudyDate StudyTime AccessionNumber "
    "ReferringPhysicianName Manufacturer AcquisitionDate AcquisitionTime ContentDate ContentTime"
).split()


def main(series: str, out: str) -> None:
    warnings.simplefilter("ignore")
    with tempfile.TemporaryDirectory() as folder:
        zipfile.ZipFile(series).extractall(folder)
        files = sorted(p for p in pathlib.Path(folder).rglob("*") if p.is_file())
        slices = [pydicom.dcmread(p) for p in files]
    for one in slices:
        for keyword in EMPTY:
            if keyword not in one:
                setattr(one, keyword, "")
        for keyword in ("StudyID", "AcquisitionNumber", "SeriesNumber", "InstanceNumber"):
            if keyword not in one:
                setattr(one, keyword, "1")
    highdicom.legacy.LegacyConvertedEnhancedCTImage(
        slices, generate_uid(), 5, generate_uid(), 1
    ).save_as(out)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])

"""Writes small packed CT slices to start mutations from; nothing of it is committed.

Usage: intake_mutation_bases.py OUT_FOLDER [CODECS_CT1_FOLDER]
Takes the 64 x 64 samples of pydicom's wheel in run-length, JPEG-LS and JPEG 2000,
and names them CT with a rescale, so that a reader of CT goes on to the pixels.
With a folder of one CT slice in many syntaxes, its JPEG lossless file is added.
Then: cargo run --release -p pilothole-intake --example mutate 100000 OUT_FOLDER/*
"""
import os
import shutil
import sys

import pydicom

out = sys.argv[1]
os.makedirs(out, exist_ok=True)
folder = os.path.join(os.path.dirname(pydicom.__file__), "data", "test_files")
for name in ["MR_small_RLE.dcm", "MR_small_jpeg_ls_lossless.dcm", "MR_small_jp2klossless.dcm"]:
    ds = pydicom.dcmread(os.path.join(folder, name))
    ds.Modality, ds.SOPClassUID = "CT", "1.2.840.10008.5.1.4.1.1.2"
    ds.ImageType = ["ORIGINAL", "PRIMARY", "AXIAL"]
    ds.RescaleSlope, ds.RescaleIntercept = "1", "-1024"
    ds.save_as(os.path.join(out, name))
shutil.copy(os.path.join(folder, "CT_small.dcm"), out)
if len(sys.argv) > 2:
    shutil.copy(os.path.join(sys.argv[2], "CT1_JPLL.dcm"), out)

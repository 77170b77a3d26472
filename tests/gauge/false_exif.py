"""Photos of testimages/small whose EXIF is made to name another focal length: it is found and left out by what the sheet alone shows, every
value says so and none is `good`, and the values are those of the photos. What no phone has at all is passed over, and said. Usage: false_exif.py PROGRAM SOURCE. Standard library only."""
import json
import os
import struct
import subprocess
import sys
import tempfile

# Of the focal length; by 13.2 the sheet would start as its own mirror image, from where nothing settles.
FACTORS = (0.5, 1.8, 13.2)  # beyond what rounding, conventions and refocusing make (docs/verdicts.md)
HONEST = (0.95, 1.05)  # within them
NO_LENS = 60  # 1800 mm
FOCAL_35MM = 0xA405


def change_focal(data, factor):
    """JPEG bytes with the 35 mm focal length, a SHORT of the EXIF directory, times factor."""
    at = data.index(b"Exif\0\0") + 6
    order = "<" if data[at:at + 2] == b"II" else ">"
    entry = struct.pack(order + "HHI", FOCAL_35MM, 3, 1)
    place = data.index(entry, at) + len(entry)
    was = struct.unpack_from(order + "H", data, place)[0]
    return data[:place] + struct.pack(order + "H", round(was * factor)) + data[place + 2:]


def measure(program, folder, truth, factor):
    with open(os.path.join(folder, os.path.basename(folder) + ".args")) as file:
        options = file.read().split()
    with tempfile.TemporaryDirectory() as place:
        photos = []
        for photo in truth["photos"]:
            photos.append(os.path.join(place, photo["file"]))
            with open(os.path.join(folder, photo["file"]), "rb") as source, open(photos[-1], "wb") as file:
                file.write(change_focal(source.read(), factor))
        done = subprocess.run([program, "measure", "--json", "-", *options, *photos], capture_output=True, text=True)
    assert done.returncode in (0, 4), done.stderr
    return json.loads(done.stdout)


def codes(notes):
    return {note["code"] for note in notes}


def main():
    program, source = sys.argv[1:3]
    folder = os.path.join(source, "testimages", "small")
    with open(os.path.join(folder, "truth.json")) as file:
        truth = json.load(file)
    failures = []
    for factor in (*FACTORS, *HONEST, NO_LENS):
        result, false, given = measure(program, folder, truth, factor), factor in FACTORS, 0
        passed_over = factor == NO_LENS
        for d in result["dimensions"]:
            said = "focal-contradicts" in codes(d["reasons"])
            if said != false:
                failures.append("EXIF times %g, %s: said %s" % (factor, d["name"], said))
            if d["value_mm"] is None:
                continue
            given += 1
            error = d["value_mm"] - truth["wanted"][d["name"]]
            if false and d["verdict"] == "good" or abs(error) > d["U_mm"]:
                failures.append("EXIF times %g, %s: %s, off by %.2f, U %.2f" % (factor, d["name"], d["verdict"], error, d["U_mm"]))
        if given < 5:
            failures.append("EXIF times %g: only %d values" % (factor, given))
        for photo in result["photos"]:
            said, source_used = "focal-contradicts" in codes(photo["problems"]), photo["camera"]["source"]
            if said != (false or passed_over) or source_used != ("free" if false or passed_over else "exif"):
                failures.append("EXIF times %g, %s: %s" % (factor, photo["file"], photo["camera"]["source"]))
    print("\n".join(failures) or "as it should be")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())

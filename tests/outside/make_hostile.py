#!/usr/bin/env python3
"""Makes the damaged and hostile captures in tests/hostile/. Plain Python, no packages.

    python3 tests/outside/make_hostile.py

Each name says what is wrong. Every file must give an error or finite samples, never a crash (tests/hostile.rs).
What cannot be committed (folders, links, unreadable or very long files) is made by the test itself.
"""

import pathlib
import random
import struct

FOLDER = pathlib.Path(__file__).resolve().parent.parent / "hostile"


def wav(tag=1, channels=1, rate=48000, bits=16, body=b"\0\x40\0\xc0" * 4, stated=None, block=None, extra=b"",
        riff=None, byte_rate=None):
    block = channels * bits // 8 if block is None else block
    fmt = struct.pack("<HHIIHH", tag, channels, rate, (rate * block if byte_rate is None else byte_rate) & 0xFFFFFFFF,
                      block, bits) + extra
    data = b"data" + struct.pack("<I", len(body) if stated is None else stated) + body
    content = b"WAVEfmt " + struct.pack("<I", len(fmt)) + fmt + data
    return b"RIFF" + struct.pack("<I", len(content) if riff is None else riff) + content


def npy(header, body=b"\0" * 16, version=(1, 0), size=None):
    text = header.encode("latin-1")
    form = "<H" if version[0] == 1 else "<I"
    return b"\x93NUMPY" + bytes(version) + struct.pack(form, len(text) if size is None else size) + text + body


def describe(descr="'<f4'", order="False", shape="(4,)"):
    return "{'descr': %s, 'fortran_order': %s, 'shape': %s, }\n" % (descr, order, shape)


def rows(count=20, line="%.6f,%.3f\n"):
    return "".join(line % (i * 1e-6, (i % 7) * 0.1) for i in range(count))


def files():
    noise = random.Random(1)
    good = wav()
    array = npy(describe())
    yield "empty.wav", b""
    yield "one_byte.bin", b"R"
    for cut in (3, 4, 8, 11, 12, 16, 19, 20, 28, 35, 36, 40, 43, 44, 45):
        yield f"wav_cut_at_{cut:02}.wav", good[:cut]
    yield "wav_without_format.wav", b"RIFF\x14\0\0\0WAVEdata\x08\0\0\0" + b"\1\2" * 4
    yield "wav_without_data.wav", good[:36] + b"LIST\x04\0\0\0INFO"
    yield "wav_no_channels.wav", wav(channels=0, block=2)
    yield "wav_65535_channels.wav", wav(channels=65535, block=65535)
    yield "wav_rate_0.wav", wav(rate=0)
    yield "wav_rate_4294967295.wav", wav(rate=0xFFFFFFFF)
    yield "wav_0_bits.wav", wav(bits=0, block=2)
    yield "wav_1000_bits.wav", wav(bits=1000, block=2)
    yield "wav_block_0.wav", wav(block=0)
    yield "wav_block_3_of_2_channels.wav", wav(channels=2, block=3)
    yield "wav_adpcm.wav", wav(tag=2, bits=4, block=1)
    yield "wav_tag_unknown.wav", wav(tag=0x1234)
    yield "wav_byte_rate_lies.wav", wav(byte_rate=7)
    yield "wav_data_length_0.wav", wav(stated=0)
    yield "wav_data_length_all_ones.wav", wav(stated=0xFFFFFFFF, riff=0xFFFFFFFF)
    yield "wav_data_length_2_gb.wav", wav(stated=0x7FFFFFFE)
    yield "wav_data_length_too_small.wav", wav(stated=2)
    yield "wav_data_length_odd.wav", wav(stated=3)
    yield "wav_format_chunk_4_gb.wav", b"RIFF\0\0\0\0WAVEfmt \xff\xff\xff\xff" + b"\1\0" * 20
    yield "wav_format_chunk_2.wav", b"RIFF\0\0\0\0WAVEfmt \x02\0\0\0\1\0" + b"data\x04\0\0\0\1\2\3\4"
    yield "wav_chunk_4_gb_before_data.wav", good[:36] + b"junk\xff\xff\xff\xff" + b"\0" * 40
    yield "wav_one_sample.wav", wav(body=b"\1\2")
    yield "wav_half_a_sample.wav", wav(body=b"\1")
    yield "wav_no_samples.wav", wav(body=b"")
    yield "wav_nan_flood.wav", wav(tag=3, bits=32, body=struct.pack("<f", float("nan")) * 50)
    yield "wav_some_infinite.wav", wav(tag=3, bits=32, body=struct.pack("<4f", 1.0, float("inf"), 0.5, -1.0) * 5)
    yield "wav_huge_floats.wav", wav(tag=3, bits=64, body=struct.pack("<4d", 1e300, 1.0, -1.0, 2.0) * 5)
    yield "wav_extensible_cut.wav", wav(tag=0xFFFE, extra=b"\x16\0\x10\0")
    yield "wav_extensible_unknown_kind.wav", wav(tag=0xFFFE, extra=b"\x16\0\x10\0" + b"\0" * 4 + b"\xaa" * 16)
    yield "wav_constant.wav", wav(body=b"\x10\0" * 400)
    yield "rf64_length_64_bit_lies.wav", (b"RF64\xff\xff\xff\xffWAVEds64\x1c\0\0\0" + b"\xff" * 28
                                          + wav(stated=0xFFFFFFFF)[12:])
    yield "riff_avi.avi", b"RIFF\x10\0\0\0AVI LIST" + b"\0" * 8
    yield "rifx.wav", b"RIFX\0\0\0\x10WAVEfmt " + b"\0" * 8
    for cut in (5, 6, 7, 8, 9, 10, 30, len(array) - 16, len(array) - 15):
        yield f"npy_cut_at_{cut:02}.npy", array[:cut]
    yield "npy_header_4_gb.npy", npy(describe(), version=(2, 0), size=0xFFFFFFFF)
    yield "npy_header_65535.npy", npy(describe(), size=65535)
    yield "npy_version_9.npy", npy(describe(), version=(9, 0))
    yield "npy_objects.npy", npy(describe(descr="'|O'"))
    yield "npy_structured.npy", npy(describe(descr="[('a', '<f4'), ('b', '<i2')]"))
    yield "npy_text.npy", npy(describe(descr="'<U8'"))
    yield "npy_dtype_nonsense.npy", npy(describe(descr="'<f99999999999'"))
    yield "npy_dtype_not_ascii.npy", npy(describe(descr="'<\xb5\xb54'"))
    yield "npy_dtype_empty.npy", npy(describe(descr="''"))
    yield "npy_shape_giant.npy", npy(describe(shape="(9000000000000000000,)"))
    yield "npy_shape_overflow.npy", npy(describe(shape="(18446744073709551615, 200)"))
    yield "npy_shape_beyond_64_bits.npy", npy(describe(shape="(99999999999999999999999,)"))
    yield "npy_shape_negative.npy", npy(describe(shape="(-4,)"))
    yield "npy_shape_empty.npy", npy(describe(shape="()"))
    yield "npy_shape_zero.npy", npy(describe(shape="(0, 4)"))
    yield "npy_shape_cube.npy", npy(describe(shape="(2, 2, 1)"))
    yield "npy_shape_unclosed.npy", npy("{'descr': '<f4', 'fortran_order': False, 'shape': (4,")
    yield "npy_planes_giant.npy", npy(describe(shape="(2, 4000000000000000000)"))
    yield "npy_planes_cut.npy", npy(describe(shape="(2, 100)"))
    yield "npy_fortran_maybe.npy", npy(describe(order="Maybe"))
    yield "npy_nested_quotes.npy", npy("{'descr': '\"<f4\"', \"fortran_order\": 'False', 'shape': '(4,)'}")
    yield "npy_no_header.npy", npy("")
    yield "npy_nan_flood.npy", npy(describe(shape="(40,)"), struct.pack("<f", float("nan")) * 40)
    yield "npy_beyond_single.npy", npy(describe(descr="'<f8'", shape="(3,)"), struct.pack("<3d", 1e308, 1.0, 2.0))
    yield "text_no_numbers.txt", b"Dear reader,\nthere is nothing to measure here.\n"
    yield "text_titles_only.csv", b"time,volts\n"
    yield "text_one_number.csv", b"1"
    yield "text_one_row.csv", b"time,volts\n0,0.5\n"
    yield "text_only_line_ends.csv", b"\n\r\n\n\r\r\n"
    yield "text_only_commas.csv", b",,,,,\n,,,,,\n"
    yield "text_nan_flood.csv", b"time,volts\n" + b"".join(b"%d,nan\n" % i for i in range(50))
    yield "text_all_over_range.csv", b"time,volts\n" + b"0,OVER\n" * 50
    yield "text_huge_exponents.csv", b"time,volts\n0,1e999999999999\n1e-6,-1e400\n2e-6,1e-99999999999\n3e-6,1\n4e-6,2\n5e-6,2\n"
    yield "text_4000_digits.csv", b"0," + b"9" * 4000 + b"\n1," + b"0" * 4000 + b".5\n2,1\n3,1\n"
    yield "text_constant.csv", rows(line="%.6f,0.5%.0s\n").encode()
    yield "text_time_stands_still.csv", b"time,volts\n" + b"".join(b"0,0.%d\n" % (i % 10) for i in range(50))
    yield "text_time_goes_back.csv", (rows() + rows()).encode()
    yield "text_time_infinite.csv", b"time,volts\n" + b"".join(b"inf,0.%d\n" % (i % 10) for i in range(50))
    yield "text_interval_0.csv", b"Sample Interval,0,s\nCH1\n" + b"0.5\n0.25\n" * 20
    yield "text_interval_negative.csv", b"Sample Interval,-1e-6,s\nCH1\n" + b"0.5\n0.25\n" * 20
    yield "text_rate_0.csv", b"Sample Rate,0,Hz\nCH1\n" + b"0.5\n0.25\n" * 20
    yield "text_rate_nan.csv", b"Sample Rate,nan,Hz\nCH1\n" + b"0.5\n0.25\n" * 20
    yield "text_rate_1e308.csv", b"Sample Rate,1e308,GHz\nCH1\n" + b"0.5\n0.25\n" * 20
    yield "text_columns_missing.csv", (rows(10) + "0.000010\n" + "0.000011,0.5\n").encode()
    yield "text_columns_too_many.csv", (rows(10) + "0.000010,1,2,3\n" + "0.000011,0.5\n").encode()
    yield "text_5000_columns.csv", (",".join(["1"] * 5000) + "\n").encode() * 2
    yield "text_word_in_the_middle.csv", (rows(10) + "0.000010,oops\n" + "0.000011,0.5\n").encode()
    yield "text_nul_in_the_middle.csv", b"0,1\n" * 2000 + b"1,\0\n" + b"2,1\n"
    yield "text_nested_quotes.csv", b'"time","""vo""lts"""\n0,"0.5\n1,""0.25""\n2,"0.""5"\n'
    yield "text_unclosed_quote.csv", b'time,"volts\n0,1\n1e-6,2\n2e-6,"3\n'
    yield "text_cut_in_a_number.csv", rows().encode()[:-7]
    yield "text_decimal_point_and_comma.csv", b"0;1.234,5\n1;1.234,6\n"
    yield "text_hexadecimal.csv", b"0,0x1F\n1,0x2F\n2,0x3F\n"
    yield "text_clock_times.csv", b"12:00:00.000001,0.5\n12:00:00.000002,0.25\n"
    yield "text_second_table.csv", ("time,volts\n" + rows(10) + "frequency,level\n" + rows(10)).encode()
    yield "text_utf16_odd_length.csv", "\ufefftime,volts\n0,1\n1,2\n".encode("utf-16-le") + b"\x31"
    yield "text_utf16_lone_surrogates.csv", b"\xff\xfe" + b"\x00\xd8" * 40 + b"\x0a\x00"
    yield "text_mark_only.csv", b"\xef\xbb\xbf"
    yield "text_utf16_mark_only.csv", b"\xff\xfe"
    yield "text_wrong_utf8_title.csv", b"ti\xc3me,v\xff\n0,1\n1e-6,2\n2e-6,3\n"
    yield "text_escape_in_title.csv", b"time,v\n0,1\n1e-6,\x1b[31m2\n2e-6,3\n"
    yield "text_noise.csv", bytes(noise.choice(b"0123456789.,;-+eE \t\n") for _ in range(3000))
    yield "edges_for_years.csv", b"time,D0\n0,0\n1,1\n5,0\n100000000,1\n"
    yield "edges_at_one_time.csv", b"time,D0\n0,0\n0,1\n0,0\n0,1\n1e-300,0\n"
    yield "edges_times_beyond_double.csv", b"time,D0\n0,0\n1e308,1\n1.5e308,0\n1.7e308,1\n"
    yield "binary_noise.csv", noise.randbytes(3000)
    yield "zeros.bin", bytes(3000)
    yield "gzip.csv.gz", b"\x1f\x8b\x08\0\0\0\0\0\0\x03" + noise.randbytes(60)
    yield "zip.xlsx", b"PK\x03\x04\x14\0\0\0\x08\0" + noise.randbytes(60)
    yield "picture.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + noise.randbytes(60)
    yield "document.pdf", b"%PDF-1.7\n1 0 obj\n" + noise.randbytes(60)
    yield "flac.wav", b"fLaC\0\0\0\x22" + noise.randbytes(60)


def main():
    FOLDER.mkdir(exist_ok=True)
    for old in FOLDER.iterdir():
        old.unlink()
    count = 0
    for name, content in files():
        (FOLDER / name).write_bytes(content)
        count += 1
    print(f"{count} files in {FOLDER}")


if __name__ == "__main__":
    main()

#!/bin/sh
# Every wrong use: one clear line, exit 2, nothing on standard output, no file made.
# shellcheck source=tests/cli/helper.sh
. "$(dirname "$0")/helper.sh"
grey_photo a.jpg
grey_photo b.jpg

refused "a command is missing"
refused "unknown command 'weigh'" weigh
refused "unknown option --side" --side

refused "no photo given" measure
refused "no photo given" measure --
refused "--foo" measure --foo a.jpg
refused "-x" measure -x a.jpg
refused "--json wants a value" measure a.jpg --json
refused "takes no value" measure --inch=3 a.jpg
refused "wants the name" measure --camera "" a.jpg
refused "a second" measure --camera one --camera two a.jpg
refused "the same file" measure a.jpg b.jpg ./a.jpg
refused "not 'left'" measure --side left a.jpg
refused "not 'tilt'" measure --coupler tilt a.jpg
refused "not 'maybe'" measure --roles maybe a.jpg
refused "not 'north'" measure --dipper north a.jpg
refused "named like a photo" measure --json a.jpg b.jpg
refused "--json wants the name" measure --json "" a.jpg
refused "--pictures wants the name" measure --pictures "" a.jpg

for threads in 0 -1 1.5 two 257 99999999999999999999 "" " 2" 0x2; do
    refused "--threads" measure --threads "$threads" a.jpg
done

for samples in 0 99 -5 1.5 many 1000001 99999999999999999999 "" nan; do
    refused "--monte-carlo is" measure --monte-carlo "$samples" a.jpg
done
for seed in -1 1.5 x "" 2147483648; do
    refused "--seed is" measure --monte-carlo 100 --seed "$seed" a.jpg
done
refused "--seed goes with" measure --seed 4 a.jpg

# Numbers that are none, or cannot be.
for reading in "" nan NaN inf -inf 1e999 0x8c " 140" "140 " 140mmm 140cm 140mm2 140,,1 140,nan "140," ",1" 1..4 --140 "140;1" 1-4 mm in; do
    refused "--print-check" measure --print-check "across=$reading" a.jpg
done
for reading in 0 -140 69.9 281 2.5in 14 1400; do
    refused "cannot be" measure --print-check "across=$reading" a.jpg
done
for reading in 99.9 401 0 -200; do
    refused "cannot be" measure --print-check "along=$reading" a.jpg
done
for band in 0 -0.1 1e-9 0.009 5.1 139 1in; do
    refused "band" measure --print-check "across=139.6,$band" a.jpg
done
refused "decimals take a point" measure --print-check "across=139,6" a.jpg
refused "no piece 'plate-9'" measure --print-check "plate-9:across=139.6" a.jpg
refused "no piece ''" measure --print-check ":across=139.6" a.jpg
refused "--print-check is" measure --print-check "139.6" a.jpg
refused "--print-check is" measure --print-check "plate-1:sideways=139.6" a.jpg
refused "given before" measure --print-check across=139.6 --print-check across=139.7 a.jpg
refused "given before" measure --print-check plate-1:along=200 --print-check plate-1:along=199 a.jpg
for standoff in "" nan inf 20,0 20,-1 20,nan 20,1e-9 20,0.009 501 -501 1e9 20mm2 dipper= dipper=x pin=20 link=20,x; do
    refused "--standoff" measure --standoff "$standoff" a.jpg
done
refused "given before" measure --standoff dipper=20 --standoff dipper=21 a.jpg
refused "given before" measure --standoff 20 --standoff link=21 a.jpg

# An escape sequence in an argument reaches no terminal.
refused "??[31m" measure --side "$(printf '\033\033[31m')" a.jpg

# More photos than can be measured together.
i=0
set --
while [ "$i" -lt 41 ]; do
    set -- "$@" "photo-$i.jpg"
    i=$((i + 1))
done
refused "at most 40" measure "$@"

refused "no photo given" camera -o profile
refused "-o PROFILE is missing" camera a.jpg b.jpg
refused "wants a value" camera a.jpg -o
refused "wants the name" camera a.jpg -o ""
refused "named like a photo" camera -o a.jpg b.jpg
refused "the same file" camera a.jpg ./a.jpg -o profile
refused "camera: --print-check" camera --print-check across=14 a.jpg -o profile
refused "camera: --print-check" camera --print-check plate-9:across=140 a.jpg -o profile
refused "camera: --threads" camera --threads 0 a.jpg -o profile
refused "--side" camera --side machine a.jpg -o profile
refused "at most 40" camera "$@" -o profile

refused "--paper" print --paper a5
refused "wants a value" print -o
refused "wants the name" print -o ""
refused "wants the name" print -o -
refused "takes no file" print kit.pdf
[ "$(find . -type f ! -name out ! -name err | sort | tr '\n' ' ')" = "./a.jpg ./b.jpg " ] || complain "files appeared: $(ls)"
finish

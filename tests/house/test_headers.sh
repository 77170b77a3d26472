#!/bin/sh
# Each public header compiles alone, as strict C11 and as C++17, without a warning.
root=$2
status=0
for header in "$root"/include/pinspan/*.h; do
    name=pinspan/$(basename "$header")
    printf '#include "%s"\nint main(void) { return 0; }\n' "$name" |
        "${CC:-cc}" -std=c11 -pedantic -Wall -Wextra -Werror -I "$root/include" -fsyntax-only -x c - || { echo "C: $name"; status=1; }
    printf '#include "%s"\nint main() { return 0; }\n' "$name" |
        "${CXX:-c++}" -std=c++17 -pedantic -Wall -Wextra -Werror -I "$root/include" -fsyntax-only -x c++ - || { echo "C++: $name"; status=1; }
done
# The check itself: a header that needs another one first is refused.
if printf 'size_t needs_stddef(void);\n' | "${CC:-cc}" -std=c11 -pedantic -Werror -fsyntax-only -x c - 2>/dev/null; then
    echo "a header that does not stand alone went through"
    status=1
fi
exit $status

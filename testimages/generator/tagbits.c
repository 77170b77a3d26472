/* Prints the cells of tag36h11 codes, as libapriltag draws them, for the test photos' generator.
 *
 *   tagbits FIRST COUNT
 *
 * One line a tag: its id, then 64 digits, the 8 x 8 cells of the tag (black border included) row by row,
 * 1 for white. Build: cc -std=c11 tagbits.c -lapriltag */
#include <apriltag/tag36h11.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

enum { CELLS = 8 };

static void print_tag(const apriltag_family_t *family, uint32_t id) {
    char cells[CELLS * CELLS + 1];
    for (int i = 0; i < CELLS * CELLS; i++) cells[i] = '0';
    cells[CELLS * CELLS] = '\0';
    for (uint32_t bit = 0; bit < family->nbits; bit++) {
        /* The code's highest bit is the family's first cell. */
        if ((family->codes[id] >> (family->nbits - bit - 1)) & 1u) cells[family->bit_y[bit] * CELLS + family->bit_x[bit]] = '1';
    }
    printf("%u %s\n", id, cells);
}

int main(int argc, char **argv) {
    if (argc != 3) {
        fprintf(stderr, "usage: tagbits FIRST COUNT\n");
        return 2;
    }
    unsigned long first = strtoul(argv[1], NULL, 10), count = strtoul(argv[2], NULL, 10);
    apriltag_family_t *family = tag36h11_create();
    int known = family->width_at_border == CELLS && first < family->ncodes && count <= family->ncodes - first;
    if (known) {
        for (unsigned long id = first; id < first + count; id++) print_tag(family, (uint32_t)id);
    } else {
        fprintf(stderr, "tagbits: no such tags\n");
    }
    tag36h11_destroy(family);
    return known ? 0 : 1;
}

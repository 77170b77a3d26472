// Tags and corners against what others find: the AprilTag library's reference photos, phone photos with known ids, and
// OpenCV's ArUco and cornerSubPix on rendered pictures.
#include <algorithm>
#include <cmath>
#include <csetjmp>
#include <cstdarg>
#include <cstddef>
#include <cstdint>
#include <fstream>
#include <set>
#include <string>
#include <vector>

// Before cmocka, whose macro fail() streams do not survive.
#include <opencv2/aruco.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

extern "C" {
#include "check.h"
#include "target/tags.h"
}
#include "pinspan/target.h"

namespace {

struct Tag {
    int id;
    cv::Point2d corner[4];
    cv::Point2d centre() const {
        return (corner[0] + corner[1] + corner[2] + corner[3]) / 4.0;
    }
};

std::string data(const std::string &name) {
    return std::string(PS_TEST_DATA "/tags/") + name;
}

std::vector<Tag> find_in(const cv::Mat &grey, bool scales = true) {
    static ps_tags tags; // large
    ps_luma luma = {grey.cols, grey.rows, grey.step, grey.data};
    tags.count = 0;
    assert_int_equal(scales ? ps_tags_find_scales(nullptr, &luma, &tags) : ps_tags_find(nullptr, &luma, 1, &tags), PS_OK);
    std::vector<Tag> out;
    for (int i = 0; i < tags.count; i++) {
        Tag t{tags.tag[i].id, {}};
        for (int k = 0; k < 4; k++) t.corner[k] = {tags.tag[i].corner_px[k][0], tags.tag[i].corner_px[k][1]};
        out.push_back(t);
    }
    return out;
}

cv::Mat photo(const std::string &name) {
    cv::Mat grey = cv::imread(data(name), cv::IMREAD_GRAYSCALE);
    assert_false(grey.empty());
    return grey;
}

// Lines 'id, (x y), (x y), (x y), (x y)'; the library's pixel centres are at +0.5, ours at 0.
std::vector<Tag> reference(const std::string &name) {
    std::ifstream file(data(name));
    std::vector<Tag> out;
    for (std::string line; std::getline(file, line);) {
        Tag t{};
        double v[8];
        if (std::sscanf(line.c_str(), "%d, (%lf %lf), (%lf %lf), (%lf %lf), (%lf %lf)", &t.id, v, v + 1, v + 2, v + 3, v + 4, v + 5, v + 6,
                        v + 7) != 9)
            continue;
        for (int k = 0; k < 4; k++) t.corner[k] = {v[2 * k] - 0.5, v[2 * k + 1] - 0.5};
        out.push_back(t);
    }
    return out;
}

// At full size every tag seen is in the list and at least `least` of the list are seen; corners as near as the library's
// versions are to each other (measured for 3.3.0: medians of the largest corner deviation .35 to .51 px; twice that is
// allowed), and no shift of half a pixel between them (mean over all corners under 0.15 px). All tags of the scene have id 0:
// the search over scales finds more of the small ones, and a misread one would have another id.
void check_yard(const std::string &name, size_t listed, size_t least) {
    std::vector<Tag> known = reference(name + ".txt"), seen = find_in(photo(name + ".jpg"), false);
    assert_int_equal(known.size(), listed);
    std::vector<double> worst;
    std::set<size_t> matched;
    cv::Point2d shift(0, 0);
    for (const Tag &s : seen) {
        assert_int_equal(s.id, 0);
        size_t best = 0;
        for (size_t i = 1; i < known.size(); i++)
            if (cv::norm(known[i].centre() - s.centre()) < cv::norm(known[best].centre() - s.centre())) best = i;
        double miss = 0;
        for (const cv::Point2d &c : s.corner) {
            auto nearest = std::min_element(known[best].corner, known[best].corner + 4,
                                            [&](const cv::Point2d &a, const cv::Point2d &b) { return cv::norm(a - c) < cv::norm(b - c); });
            miss = std::max(miss, cv::norm(*nearest - c));
            shift += (c - *nearest) / (4.0 * static_cast<double>(seen.size()));
        }
        worst.push_back(miss);
        matched.insert(best);
    }
    std::nth_element(worst.begin(), worst.begin() + static_cast<long>(worst.size() / 2), worst.end());
    print_message("%s: %zu of %zu, %zu seen, median corner deviation %.2f px, mean (%+.3f, %+.3f)\n", name.c_str(), matched.size(), listed,
                  seen.size(), worst[worst.size() / 2], shift.x, shift.y);
    for (const Tag &t : find_in(photo(name + ".jpg"))) assert_int_equal(t.id, 0);
    assert_true(matched.size() >= least);
    assert_int_equal(matched.size(), seen.size());
    CHECK_NEAR(worst[worst.size() / 2], 0.0, 1.0);
    CHECK_NEAR(shift.x, 0.0, 0.15);
    CHECK_NEAR(shift.y, 0.0, 0.15);
}

void library_photos(void **) {
    check_yard("yard-1", 12, 12);
    // libapriltag 3.3.0 finds 24 with two wrong bits allowed (its default); with one, as here, 23: one has two.
    check_yard("yard-2", 25, 23);
    check_yard("yard-3", 10, 10);
}

void phone_photos(void **) {
    const std::pair<const char *, std::multiset<int>> known[] = {
        {"room-1.jpg", {0, 11, 13}}, {"room-2.jpg", {1, 2, 3}}, {"room-3.jpg", {3, 4}}};
    for (const auto &k : known) {
        std::multiset<int> ids;
        for (const Tag &t : find_in(photo(k.first))) ids.insert(t.id);
        assert_true(ids == k.second);
    }
}

// The kit's patch drawn by OpenCV: its own tag pictures (turned by half a turn: see below) on a checkerboard of 12 px a
// cell and 120 px a square, seen through warpPerspective and blurred.
cv::Mat picture(const ps_piece *piece, const cv::Matx33d &to_px, double blur) {
    const int cell = 12, square = 120, margin = 60;
    auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11);
    cv::Mat sheet(piece->rows * square + 2 * margin, piece->columns * square + 2 * margin, CV_8U, cv::Scalar(220));
    int n = 0;
    for (int r = 0; r < piece->rows; r++)
        for (int c = 0; c < piece->columns; c++) {
            cv::Mat place = sheet(cv::Rect(margin + c * square, margin + r * square, square, square));
            if ((c + r) % 2 == 0) {
                place.setTo(40);
                continue;
            }
            cv::Mat tag, half(place(cv::Rect(18, 18, 84, 84)));
            cv::aruco::drawMarker(dictionary, piece->first_tag + n++, 8 * cell, tag);
            cv::rotate(tag, tag, cv::ROTATE_180);
            cv::resize(tag, tag, half.size(), 0, 0, cv::INTER_AREA);
            tag.convertTo(half, CV_8U, 180.0 / 255.0, 40.0);
        }
    // Sheet pixel i has its centre at (i + 0.5) / 120 squares.
    double s = piece->square_mm / square;
    cv::Matx33d sheet_to_mm(s, 0, (0.5 - margin) * s, 0, s, (0.5 - margin) * s, 0, 0, 1);
    cv::Mat out;
    cv::warpPerspective(sheet, out, to_px * sheet_to_mm, cv::Size(700, 800), cv::INTER_LINEAR, cv::BORDER_CONSTANT, cv::Scalar(120));
    cv::GaussianBlur(out, out, cv::Size(), blur);
    cv::Mat noise(out.size(), CV_16S), sum;
    cv::theRNG().state = 5;
    cv::randn(noise, 0, 2);
    out.convertTo(sum, CV_16S);
    sum += noise;
    sum.convertTo(out, CV_8U);
    return out;
}

const cv::Matx33d view(4.6, -0.8, 130, 0.9, 4.9, 60, 3e-4, 2e-4, 1);

// OpenCV's ArUco finds the same tags at the same places; its corners start half a turn on (its code pictures are turned).
void aruco_agrees(void **) {
    const ps_piece *piece = ps_kit_piece(2);
    cv::Mat grey = picture(piece, view, 0.8);
    std::vector<Tag> ours = find_in(grey);
    std::vector<std::vector<cv::Point2f>> corners;
    std::vector<int> ids;
    auto parameters = cv::aruco::DetectorParameters::create();
    parameters->cornerRefinementMethod = cv::aruco::CORNER_REFINE_CONTOUR;
    cv::aruco::detectMarkers(grey, cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11), corners, ids, parameters);
    assert_int_equal(ours.size(), piece->tag_count);
    assert_int_equal(ids.size(), piece->tag_count);
    for (const Tag &t : ours) {
        size_t i = static_cast<size_t>(std::find(ids.begin(), ids.end(), t.id) - ids.begin());
        assert_true(i < ids.size());
        // Both to some tenths of a pixel; a turn would show as a tag's side, 70 px.
        for (size_t k = 0; k < 4; k++) CHECK_NEAR(cv::norm(cv::Point2d(corners[i][(k + 2) % 4]) - t.corner[k]), 0.0, 1.5);
    }
}

// cornerSubPix from the true corners (half-window 8: inside the margin of 14 px) and ours, which knows no start: both near
// the truth, ours no farther. The truth here rests on warpPerspective's 1/32 px steps: 0.01 px.
void saddles_match_cornersubpix(void **) {
    const ps_piece *piece = ps_kit_piece(2);
    cv::Mat grey = picture(piece, view, 1.0);
    static ps_sightings seen;
    ps_luma luma = {grey.cols, grey.rows, grey.step, grey.data};
    assert_int_equal(ps_target_sight(nullptr, &luma, &seen), PS_OK);
    assert_int_equal(seen.piece[0].corner_count, piece->corner_count);
    std::vector<cv::Point2f> other;
    std::vector<cv::Point2d> truth;
    for (int i = 0; i < piece->corner_count; i++) {
        double mm[2];
        ps_piece_corner(piece, i, mm);
        cv::Vec3d p = view * cv::Vec3d(mm[0], mm[1], 1);
        truth.emplace_back(p[0] / p[2], p[1] / p[2]);
        other.emplace_back(truth.back());
    }
    cv::cornerSubPix(grey, other, cv::Size(8, 8), cv::Size(-1, -1),
                     cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 50, 1e-4));
    double mine = 0, theirs = 0;
    for (int i = 0; i < piece->corner_count; i++) {
        size_t at = static_cast<size_t>(i);
        mine += std::pow(cv::norm(cv::Point2d(seen.piece[0].corner[i].x_px, seen.piece[0].corner[i].y_px) - truth[at]), 2);
        theirs += std::pow(cv::norm(cv::Point2d(other[at]) - truth[at]), 2);
    }
    double n = 2.0 * piece->corner_count;
    print_message("rms per axis: ours %.4f px, cornerSubPix %.4f px\n", std::sqrt(mine / n), std::sqrt(theirs / n));
    CHECK_NEAR(std::sqrt(mine / n), 0.0, 0.03);
    CHECK_NEAR(std::sqrt(theirs / n), 0.0, 0.06);
    assert_true(std::sqrt(mine / n) <= std::sqrt(theirs / n) + 0.01);
}

} // namespace

int main() {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(library_photos),
        cmocka_unit_test(phone_photos),
        cmocka_unit_test(aruco_agrees),
        cmocka_unit_test(saddles_match_cornersubpix),
    };
    return cmocka_run_group_tests(tests, nullptr, nullptr);
}

/* Rims found in photos with known truth, beside what OpenCV offers for circles and ellipses on the same photos:
 * HoughCircles (HOUGH_GRADIENT_ALT) and the EdgeDrawing ellipses of its contributed module ximgproc.
 *
 *   bench_rims FOLDER...      each with truth.json and its photos; prints a table by category
 *
 * A true circle of the near ear counts as asked where at least half of it can be seen; as found where an ellipse passes
 * within 3 px (rms) of its visible points. A false rim passes near no true circle of which a third can be seen. Circles
 * under 1/40 of the photo's width in radius are no business of anyone. The general detectors name nothing, so that
 * they are asked for the place alone; ours is asked for place and name too, in the column `named`. The error is the
 * distance from the true points: rms over all rims found, and the mean toward the outside. One thread; processor time. */
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <opencv2/ximgproc/edge_drawing.hpp>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <map>
#include <string>
#include <vector>

#include "rim_truth.hpp"

namespace {

const double found_px = 3;
/* The detectors get the photo reduced to this width: at full size the first takes minutes, and the second finds fewer. */
const double detector_width = 1600;
const size_t half_seen = 18, third_seen = 12; /* of 36 points */

struct Given {
    ps_ellipse ellipse;
    std::string pin, edge; /* empty from a detector that names nothing */
};

struct Tally {
    int photos = 0, asked = 0, found = 0, named = 0, given = 0, stray = 0;
    double sum2_px = 0, sum_px = 0, seconds = 0, all_seconds = 0;
    std::map<std::string, std::pair<int, int>> edge; /* asked, found under their name (else at their place) */
};

struct Method {
    const char *name;
    std::map<std::string, Tally> by_category;
};

double cpu_s() {
    timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

/* Signed distance (outside positive) to first order: exact enough within a few pixels of the curve. */
double distance_px(const std::pair<double, double> &p, const ps_ellipse &e) {
    double c = std::cos(e.angle), s = std::sin(e.angle), dx = p.first - e.cx, dy = p.second - e.cy;
    double x = (dx * c + dy * s) / e.a, y = (-dx * s + dy * c) / e.b;
    double slope = 2 * std::hypot(x / e.a, y / e.b);
    return slope > 0 ? (x * x + y * y - 1) / slope : -std::min(e.a, e.b);
}

/* How far the circle's visible points lie outside the ellipse: mean, and rms as the return value. */
double offset_px(const TrueCircle &circle, const ps_ellipse &e, double *mean) {
    double sum = 0, sum2 = 0, n = static_cast<double>(circle.seen.size());
    for (const auto &p : circle.seen) {
        double d = distance_px(p, e);
        sum += d, sum2 += d * d;
    }
    *mean = sum / n;
    return std::sqrt(sum2 / n);
}

bool carries_name(const Given &g, const TrueCircle &c) {
    return g.pin == c.pin && g.edge == c.edge;
}

void count_asked(const TrueCircle &circle, const std::vector<Given> &given, bool names, Tally *t) {
    double best = 1e300, best_mean = 0;
    bool named = false;
    for (const Given &g : given) {
        double mean, rms = offset_px(circle, g.ellipse, &mean);
        named |= rms <= found_px && carries_name(g, circle);
        if (rms < best) best = rms, best_mean = mean;
    }
    bool found = best <= found_px;
    auto &edge = t->edge[circle.edge];
    edge.first++, edge.second += names ? named : found;
    t->asked++, t->found += found, t->named += named;
    if (found) t->sum2_px += best * best, t->sum_px -= best_mean;
}

void count_photo(const TruePhoto &photo, int width, const std::vector<Given> &all, bool names, Tally *t) {
    std::vector<Given> given;
    for (const Given &g : all)
        if (g.ellipse.a >= width / 40.0 && g.ellipse.b > 0) given.push_back(g);
    for (const TrueCircle &c : photo.circles)
        if (c.near && c.seen.size() >= half_seen) count_asked(c, given, names, t);
    for (const Given &g : given) {
        bool real = std::any_of(photo.circles.begin(), photo.circles.end(), [&](const TrueCircle &c) {
            double mean;
            return c.seen.size() >= third_seen && offset_px(c, g.ellipse, &mean) <= found_px;
        });
        t->given++, t->stray += !real;
    }
    t->photos++;
}

/* OpenCV's advice for HOUGH_GRADIENT_ALT: param1 300, param2 0.8-0.9, dp 1.5. */
std::vector<ps_ellipse> hough(const cv::Mat &grey) {
    std::vector<cv::Vec3f> circles;
    cv::HoughCircles(grey, circles, cv::HOUGH_GRADIENT_ALT, 1.5, grey.cols / 100.0, 300, 0.8, grey.cols / 40, grey.cols / 4);
    std::vector<ps_ellipse> out;
    for (const cv::Vec3f &c : circles) out.push_back({c[0], c[1], c[2], c[2], 0});
    return out;
}

/* Default parameters. A circle comes with its radius in place [2] and no axes. */
std::vector<ps_ellipse> edge_drawing(const cv::Mat &grey) {
    std::vector<cv::Vec6d> ellipses;
    auto detector = cv::ximgproc::createEdgeDrawing();
    detector->detectEdges(grey);
    std::vector<cv::Vec4f> lines;
    detector->detectLines(lines); /* its ellipse stage builds on them */
    detector->detectEllipses(ellipses);
    std::vector<ps_ellipse> out;
    for (const cv::Vec6d &e : ellipses) out.push_back({e[0], e[1], e[2] + e[3], e[2] + e[4], e[5] * CV_PI / 180});
    return out;
}

std::vector<Given> rims_of(const ps_record_photo &photo) {
    std::vector<Given> out;
    for (int i = 0; i < photo.rim_count; i++) {
        const ps_record_rim &r = photo.rim[i];
        if (r.ear == PS_EAR_NEAR) out.push_back({r.ellipse, ps_role_word(r.pin), ps_edge_word(r.edge)});
    }
    return out;
}

void run_ours(const TrueJob &job, ps_context *ctx, Tally *t) {
    std::vector<const char *> files;
    for (const TruePhoto &p : job.photos) files.push_back(p.path.c_str());
    ps_measure_options options = job.options;
    options.threads = 1;
    ps_record record = {};
    double start = cpu_s();
    ps_status status = ps_measure(ctx, &options, files.data(), static_cast<int>(files.size()), &record);
    t->all_seconds += cpu_s() - start;
    t->seconds += record.times.propose_s + record.times.section_s + record.times.trace_s;
    if (status != PS_OK && status != PS_NOT_FOUND) std::fprintf(stderr, "bench_rims: %s\n", ps_context_message(ctx));
    for (int i = 0; i < record.photo_count; i++)
        count_photo(job.photos[static_cast<size_t>(i)], std::max(record.photo[i].width, 1), rims_of(record.photo[i]), true, t);
    ps_record_clear(&record);
}

void run_detector(const TruePhoto &photo, std::vector<ps_ellipse> (*detector)(const cv::Mat &), Tally *t) {
    cv::Mat grey = cv::imread(photo.path, cv::IMREAD_GRAYSCALE), small; /* upright, by the EXIF orientation */
    double start = cpu_s(), shrink = std::max(1.0, grey.cols / detector_width);
    cv::resize(grey, small, cv::Size(), 1 / shrink, 1 / shrink, cv::INTER_AREA);
    std::vector<Given> given;
    for (const ps_ellipse &e : detector(small))
        given.push_back({{(e.cx + 0.5) * shrink - 0.5, (e.cy + 0.5) * shrink - 0.5, e.a * shrink, e.b * shrink, e.angle}, "", ""});
    t->seconds += cpu_s() - start;
    t->all_seconds = t->seconds;
    count_photo(photo, grey.cols, given, false, t);
}

void add(const Tally &a, Tally *sum) {
    sum->photos += a.photos, sum->asked += a.asked, sum->found += a.found, sum->named += a.named, sum->given += a.given,
        sum->stray += a.stray;
    sum->sum2_px += a.sum2_px, sum->sum_px += a.sum_px, sum->seconds += a.seconds, sum->all_seconds += a.all_seconds;
    for (const auto &e : a.edge) sum->edge[e.first].first += e.second.first, sum->edge[e.first].second += e.second.second;
}

void print_row(const std::string &category, const char *method, const Tally &t, bool names) {
    double photos = std::max(t.photos, 1);
    char named[40] = "-", error[80] = "- | -";
    if (names) std::snprintf(named, sizeof named, "%.0f %%", 100.0 * t.named / std::max(t.asked, 1));
    if (t.found) std::snprintf(error, sizeof error, "%.2f | %+.2f", std::sqrt(t.sum2_px / t.found), t.sum_px / t.found);
    std::printf("| %s | %s | %d | %d | %.0f %% | %s | %.2f | %s | %.2f | %.2f |\n", category.c_str(), method, t.photos, t.asked,
                100.0 * t.found / std::max(t.asked, 1), named, t.stray / photos, error, t.seconds / photos, t.all_seconds / photos);
}

void print_tables(const std::vector<Method> &methods) {
    std::printf("| category | method | photos | asked | found | named | false a photo | error px, rms | mean | s a photo | whole |\n"
                "|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n");
    std::vector<Tally> sum(methods.size());
    for (const auto &row : methods[0].by_category)
        for (size_t m = 0; m < methods.size(); m++) {
            const Tally &t = methods[m].by_category.at(row.first);
            print_row(row.first, methods[m].name, t, m == 0);
            add(t, &sum[m]);
        }
    for (size_t m = 0; m < methods.size(); m++) print_row("**all**", methods[m].name, sum[m], m == 0);
    std::printf("\n| edge | asked |");
    for (const Method &m : methods) std::printf(" %s |", m.name);
    std::printf("\n|---|--:|--:|--:|--:|\n");
    for (const auto &e : sum[0].edge) {
        std::printf("| %s | %d |", e.first.c_str(), e.second.first);
        for (Tally &t : sum) std::printf(" %.0f %% |", 100.0 * t.edge[e.first].second / std::max(e.second.first, 1));
        std::printf("\n");
    }
}

} // namespace

int main(int argc, char **argv) {
    if (argc < 2) {
        std::fprintf(stderr, "usage: bench_rims FOLDER...   (each with truth.json and its photos)\n");
        return 2;
    }
    cv::setNumThreads(1);
    std::vector<Method> methods = {{"pinspan", {}}, {"HoughCircles", {}}, {"EdgeDrawing", {}}};
    ps_context *ctx = ps_context_new();
    int jobs = 0;
    for (int i = 1; ctx && i < argc; i++) {
        TrueJob job;
        if (!read_truth(argv[i], &job)) {
            std::fprintf(stderr, "bench_rims: %s: no truth.json that can be read\n", argv[i]);
            ps_context_free(ctx);
            return 1;
        }
        bool shown = std::any_of(job.photos.begin(), job.photos.end(), [](const TruePhoto &p) {
            return std::any_of(p.circles.begin(), p.circles.end(),
                               [](const TrueCircle &c) { return c.near && c.seen.size() >= half_seen; });
        });
        if (!shown) continue; /* photos into the gap, or of a sheet alone */
        run_ours(job, ctx, &methods[0].by_category[job.category]);
        for (const TruePhoto &p : job.photos) {
            run_detector(p, hough, &methods[1].by_category[job.category]);
            run_detector(p, edge_drawing, &methods[2].by_category[job.category]);
        }
        jobs++;
        std::fprintf(stderr, "%s\n", argv[i]);
    }
    ps_context_free(ctx);
    print_tables(methods);
    return jobs ? 0 : 1;
}

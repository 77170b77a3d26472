# Every dependency and why it was chosen: docs/dependencies.md.
find_package(PkgConfig REQUIRED)
find_package(Threads REQUIRED)
find_package(OpenCV REQUIRED COMPONENTS core imgproc)
pkg_check_modules(JPEG REQUIRED IMPORTED_TARGET libjpeg)
pkg_check_modules(APRILTAG REQUIRED IMPORTED_TARGET apriltag)
pkg_check_modules(JANSSON REQUIRED IMPORTED_TARGET jansson)
pkg_check_modules(NETTLE REQUIRED IMPORTED_TARGET nettle)
pkg_check_modules(CAIRO REQUIRED IMPORTED_TARGET cairo cairo-pdf pangocairo)

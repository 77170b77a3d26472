# cmake --install: library, headers, program, man page, and what find_package(pinspan) and pkg-config need.
include(GNUInstallDirs)
include(CMakePackageConfigHelpers)
set(config_dir "${CMAKE_INSTALL_LIBDIR}/cmake/pinspan")

install(TARGETS pinspan EXPORT pinspanTargets ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR} LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR}
  INCLUDES DESTINATION ${CMAKE_INSTALL_INCLUDEDIR})
install(DIRECTORY include/pinspan DESTINATION ${CMAKE_INSTALL_INCLUDEDIR} FILES_MATCHING PATTERN "*.h")
install(EXPORT pinspanTargets NAMESPACE pinspan:: DESTINATION ${config_dir})
if(TARGET pinspan_program)
  install(TARGETS pinspan_program RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
endif()
if(EXISTS "${CMAKE_SOURCE_DIR}/docs/pinspan.1")
  install(FILES docs/pinspan.1 DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
endif()

install(FILES docs/measurement.schema.json docs/job.schema.json docs/record.schema.json DESTINATION ${CMAKE_INSTALL_DATADIR}/pinspan)

# A static library hands its own needs on: the OpenCV modules are read off what the target links to.
get_target_property(linked pinspan LINK_LIBRARIES)
set(PINSPAN_OPENCV_COMPONENTS "")
set(PINSPAN_PC_PRIVATE "")
foreach(item IN LISTS linked)
  if(item MATCHES "^opencv_(.+)$")
    string(APPEND PINSPAN_OPENCV_COMPONENTS " ${CMAKE_MATCH_1}")
    string(APPEND PINSPAN_PC_PRIVATE " -l${item}")
  endif()
endforeach()
string(STRIP "${PINSPAN_OPENCV_COMPONENTS}" PINSPAN_OPENCV_COMPONENTS)
string(STRIP "${PINSPAN_PC_PRIVATE}" PINSPAN_PC_PRIVATE)

configure_package_config_file(cmake/pinspanConfig.cmake.in "${CMAKE_BINARY_DIR}/pinspanConfig.cmake" INSTALL_DESTINATION ${config_dir})
# Before 1.0 a minor version may change the interface.
write_basic_package_version_file("${CMAKE_BINARY_DIR}/pinspanConfigVersion.cmake" COMPATIBILITY SameMinorVersion)
install(FILES "${CMAKE_BINARY_DIR}/pinspanConfig.cmake" "${CMAKE_BINARY_DIR}/pinspanConfigVersion.cmake" DESTINATION ${config_dir})

# From the .pc file's folder back to the prefix, so that the installed tree can be moved.
file(RELATIVE_PATH PINSPAN_PC_TO_PREFIX "/prefix/${CMAKE_INSTALL_LIBDIR}/pkgconfig" "/prefix")
string(REGEX REPLACE "/$" "" PINSPAN_PC_TO_PREFIX "${PINSPAN_PC_TO_PREFIX}")
configure_file(cmake/pinspan.pc.in "${CMAKE_BINARY_DIR}/pinspan.pc" @ONLY)
install(FILES "${CMAKE_BINARY_DIR}/pinspan.pc" DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig)

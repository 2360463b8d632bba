# Short names for common work. Each installs what it needs of Debian 12's packages.
CONFIGURE = cmake -S . -B $(1) -G Ninja --log-level=WARNING $(2)
C_FILES = find src tests tools perf -name '*.[ch]'
ASAN = ASAN_OPTIONS=detect_leaks=1:strict_string_checks=1 UBSAN_OPTIONS=print_stacktrace=1
FUZZ_SECONDS ?= 60
HOSTILE_S ?= 3600
export JOBS ?= $(shell nproc)

.PHONY: help build demo test lint format check-asan check-oom check-hostile fuzz fuzz-replay cover perf clean

help: ## this list
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/make \1	\2/p' Makefile | expand -t 20

build: ## the program, at build/gridleak
	tools/install build
	$(call CONFIGURE,build)
	cmake --build build --target gridleak

demo: build ## an invented faulty amp: its readings in, the guilty part out; then the bench page
	tools/demo build/gridleak

test: ## every test; the last line counts them
	tools/install build test
	$(call CONFIGURE,build)
	cmake --build build
	tools/test build

lint: ## lengths, formatting, headers, rooms
	tools/install build lint
	tools/lint

format: ## clang-format on every C file
	tools/install lint
	$(C_FILES) | xargs clang-format -i

check-asan: ## the tests under the address and undefined-behaviour sanitizers, slow ones left out
	tools/install build test
	$(call CONFIGURE,build-asan,-DGRIDLEAK_SANITIZE=ON)
	cmake --build build-asan
	$(ASAN) tools/test build-asan -LE slow

check-oom: ## every allocation made to fail in turn, under the sanitizers
	tools/install build test
	$(call CONFIGURE,build-asan,-DGRIDLEAK_SANITIZE=ON)
	cmake --build build-asan
	$(ASAN) tools/test build-asan -R oom

check-hostile: ## a meter with every trouble there is, HOSTILE_S seconds under each sanitizer
	tools/install build test
	$(call CONFIGURE,build-asan,-DGRIDLEAK_SANITIZE=ON)
	$(call CONFIGURE,build-threads,-DGRIDLEAK_THREADS=ON)
	cmake --build build-asan --target test_meter_hostile
	cmake --build build-threads --target test_meter_hostile
	METER_HOSTILE_S=$(HOSTILE_S) build-asan/test_meter_hostile
	METER_HOSTILE_S=$(HOSTILE_S) build-threads/test_meter_hostile

fuzz: ## each reader of outside bytes against libFuzzer, FUZZ_SECONDS each
	tools/install build fuzz
	CC=clang-14 $(call CONFIGURE,build-fuzz,-DGRIDLEAK_FUZZ=ON -DGRIDLEAK_SANITIZE=ON)
	cmake --build build-fuzz
	tools/fuzz build-fuzz $(FUZZ_SECONDS)

fuzz-replay: ## the inputs kept from fuzzing, as tests
	tools/install build test
	$(call CONFIGURE,build)
	cmake --build build
	tools/test build -R '^fuzz_'

cover: ## which lines of src the tests run
	tools/install build test
	$(call CONFIGURE,build-cover,-DCMAKE_BUILD_TYPE=Debug -DCMAKE_C_FLAGS=--coverage)
	cmake --build build-cover
	tools/test build-cover
	tools/cover build-cover

perf: ## the benchmarks, each with its ratio to a reference measured in the same run
	tools/install build perf
	$(call CONFIGURE,build)
	cmake --build build --target gridleak perf_programs
	for program in build/perf_*; do echo "== $$program"; $$program || exit 1; done
	GRIDLEAK=build/gridleak node perf/page.mjs

clean: ## what was built
	rm -rf build build-asan build-fuzz build-cover

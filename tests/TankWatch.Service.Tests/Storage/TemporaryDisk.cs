using System.Diagnostics;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

/// <summary>A small disk in memory, which a test may fill. It needs root to be mounted; where it cannot be, the test is reported as not run.</summary>
internal sealed class TemporaryDisk : IDisposable
{
    private TemporaryDisk(string folder) => Folder = folder;

    public string Folder { get; }

    private string Ballast => Path.Combine(Folder, "ballast");

    public static TemporaryDisk Mounted(int megabytes)
    {
        var folder = Directory.CreateTempSubdirectory("disk-").FullName;
        if (!OperatingSystem.IsLinux() || Environment.UserName != "root" || Run("mount", "-t", "tmpfs", "-o", $"size={megabytes}m", "none", folder) != 0)
        {
            Directory.Delete(folder);
            Assert.Skip("no tmpfs could be mounted, which needs Linux and root");
        }

        return new(folder);
    }

    /// <summary>Not one byte more fits on it.</summary>
    public void Fill()
    {
        using var file = new FileStream(Ballast, FileMode.Append, FileAccess.Write, FileShare.None, bufferSize: 0);
        foreach (var size in (int[])[1 << 16, 4096, 1])
        {
            try
            {
                while (true)
                {
                    file.Write(new byte[size]);
                }
            }
            catch (IOException)
            {
                // Full for pieces of this size.
            }
        }
    }

    public void Free() => File.Delete(Ballast);

    public void Dispose()
    {
        Run("umount", "-l", Folder);
        Directory.Delete(Folder);
    }

    private static int Run(string program, params string[] arguments)
    {
        using var process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardError = true })!;
        process.WaitForExit();
        return process.ExitCode;
    }
}

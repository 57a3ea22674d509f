using System.Diagnostics;

namespace TankWatch.Service.Tests.Storage.Keeping;

/// <summary>A file system with room for a megabyte.</summary>
internal sealed class SmallDisk : IDisposable
{
    private SmallDisk(string folder) => Folder = folder;

    public string Folder { get; }

    /// <returns>Null where this user may make none.</returns>
    public static SmallDisk? TryMount()
    {
        var folder = Directory.CreateTempSubdirectory("small-").FullName;
        if (OperatingSystem.IsLinux() && Ran("mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder))
        {
            return new(folder);
        }

        Directory.Delete(folder);
        return null;
    }

    public void Dispose()
    {
        Ran("umount", Folder);
        Directory.Delete(Folder);
    }

    private static bool Ran(string command, params string[] arguments)
    {
        using var process = Process.Start(new ProcessStartInfo(command, arguments) { RedirectStandardError = true })!;
        process.WaitForExit();
        return process.ExitCode == 0;
    }
}
